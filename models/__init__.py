"""Pose networks with their provenance, and the open contract of results."""

from __future__ import annotations

import os

# ONNX Runtime 1.29 and later reports its use (machine, session, model file) over the network
# unless this is set before it is imported. Here nothing leaves the machine.
os.environ["ORT_DISABLE_TELEMETRY"] = "1"
