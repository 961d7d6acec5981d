"""What a 95 % interval means here."""

from __future__ import annotations

Z95 = 1.959964
"""Half the width of a 95 % interval in standard deviations: the two-sided 95 % point of the
standard normal distribution, as everything that was calibrated has used it."""
