"""Fixed tone curves that turn HLG and PQ film into ordinary pictures for the pose networks.

One curve per colour channel: transfer function of ITU-R BT.2100 back to light, a shoulder that
compresses highlights, and the sRGB curve (IEC 61966-2-1). Diffuse white (203 cd/m2 on a 1000 cd/m2
screen, ITU-R BT.2408) lands at about 93 % of full scale. Colour primaries stay as they are: hue
shifts slightly, which does not move edges.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt

DIFFUSE_WHITE = 203.0
"""Luminance of a white surface in HDR film, cd/m² (ITU-R BT.2408, from memory)."""
PEAK = 1000.0
"""Luminance of the screen that HDR film is meant for, cd/m² (BT.2100: gamma 1.2 of HLG)."""
KNEE = 0.6
"""Share of diffuse white up to which tones are kept (working value)."""

FloatArray = npt.NDArray[np.float64]


def pq_to_light(signal: FloatArray) -> FloatArray:
    """Return the luminance, cd/m2, of a PQ signal 0..1 (EOTF of BT.2100, SMPTE ST 2084)."""
    m1, m2 = 2610 / 16384, 2523 / 4096 * 128
    c1, c2, c3 = 3424 / 4096, 2413 / 4096 * 32, 2392 / 4096 * 32
    power = np.power(np.clip(signal, 0, 1), 1 / m2)
    return 10_000.0 * np.power(np.maximum(power - c1, 0) / (c2 - c3 * power), 1 / m1)


def hlg_to_scene(signal: FloatArray) -> FloatArray:
    """Return the scene light, 0..1, of an HLG signal 0..1 (inverse OETF of BT.2100)."""
    a = 0.17883277
    b = 1 - 4 * a
    c = 0.5 - a * np.log(4 * a)
    x = np.clip(signal, 0, 1)
    return np.where(x <= 0.5, x * x / 3, (np.exp((x - c) / a) + b) / 12)


def hlg_to_light(signal: FloatArray) -> FloatArray:
    """Return the luminance, cd/m2, of a grey HLG signal on a 1000 cd/m2 screen (gamma 1.2)."""
    return PEAK * np.power(hlg_to_scene(signal), 1.2)


def light_to_srgb(light: FloatArray) -> FloatArray:
    """Return the sRGB signal 0..1 of a luminance, highlights compressed so that the peak is 1.

    Straight up to ``KNEE`` of diffuse white, so that ordinary tones look as in ordinary film;
    above it an exponential shoulder of the same slope.
    """
    x = np.minimum(light, PEAK) / DIFFUSE_WHITE
    room = 1 - KNEE
    above = np.maximum(x - KNEE, 0) / room
    peak = (PEAK / DIFFUSE_WHITE - KNEE) / room
    y = np.minimum(x, KNEE) + room * (1 - np.exp(-above)) / (1 - np.exp(-peak))
    return np.asarray(np.where(y <= 0.0031308, 12.92 * y, 1.055 * np.power(y, 1 / 2.4) - 0.055))


@cache
def tone_curve(transfer: str) -> npt.NDArray[np.uint8]:
    """Return the curve for ``HLG`` or ``PQ`` film, 256 entries of uint8.

    Raises
    ------
    KeyError
        For any other transfer.
    """
    signal = np.arange(256) / 255
    light = {"HLG": hlg_to_light, "PQ": pq_to_light}[transfer](signal)
    curve = np.rint(255 * light_to_srgb(light)).astype(np.uint8)
    curve.flags.writeable = False
    return curve
