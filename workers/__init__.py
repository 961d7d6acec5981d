"""The workers: decode, pose, serve metrics, pictures, and the jobs that run them."""

from __future__ import annotations

import models  # noqa: F401  (before ONNX Runtime: switches off its reports)
