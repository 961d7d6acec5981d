"""What the engine has learned, read from `models/weights` and verified; and the engine's identity.

The one place that opens learned files. The engine is handed `Learned` and reads nothing.

``load``      the bundle of this process
``tables``    calibration, shares and landmark errors from their JSON files
``network``   the lift, run by ONNX Runtime
``identity``  a digest over the engine's code and its learned data
"""

from __future__ import annotations

from workers.learned.load import LoadedEngine, load

__all__ = ["LoadedEngine", "load"]
