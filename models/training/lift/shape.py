"""The shape of the lift's network, for those who train it and those who write it down."""

from __future__ import annotations

CHANNELS = 176
DILATIONS = (1, 2, 4, 8, 16, 32, 1)
"""Frames between the taps of each block's convolution."""
POOLED = (2, 4)
"""Blocks after which the film's mean is added."""
FARTHEST = 8.0
"""Standard deviations beyond which an input is held: outside, the network knows nothing."""
EPSILON = 1e-5
"""Keeps the normalisation of a silent frame finite."""
