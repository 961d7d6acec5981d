"""Very many rendered films seen by the pose networks, without ever being files.

Needs Python with numpy, scipy, numba, opencv, onnxruntime and pydantic only; the bodies come from
the file of `models.training.rendered.body_basis`.
"""
