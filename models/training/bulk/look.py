"""How a phone's picture differs from the scene: tone, dim light, blur, grain, compression."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np

MARGIN_GRAIN = 64


@dataclass
class Look:
    """One film's treatment; `finished` gives a new grain to each frame.

    gain, contrast and white balance `wb` (3,) act on 0..255, `dim` darkens before the noise;
    `noise` in grey levels, `blur` in pixels. A quality of 100 leaves the JPEG step out; `squeeze`
    < 1 shrinks the picture before it and enlarges it afterwards, as messengers do.
    """

    size: tuple[int, int]
    gain: float
    contrast: float
    wb: tuple[float, float, float]
    vignette: float
    noise: float
    blur: float
    quality: int
    squeeze: float
    rng: np.random.Generator
    _grain: np.ndarray = field(init=False)
    _scale: np.ndarray = field(init=False)
    _lift: np.ndarray = field(init=False)

    def __post_init__(self) -> None:
        width, height = self.size
        grain = self.rng.normal(0, self.noise, (height + MARGIN_GRAIN, width + MARGIN_GRAIN))
        self._grain = np.repeat(np.round(grain).astype(np.int16)[..., None], 3, axis=2)
        y, x = np.mgrid[0:height, 0:width]
        off = ((x - width / 2) ** 2 + (y - height / 2) ** 2) / (width**2 + height**2) * 4
        tone = 255 * self.gain * np.array(self.wb) * (1.0 - self.vignette * off)[..., None]
        self._scale = (self.contrast * tone).astype(np.float32)
        self._lift = (0.5 * (1.0 - self.contrast) * tone).astype(np.float32)

    @classmethod
    def drawn(cls, size: tuple[int, int], rng: np.random.Generator) -> Look:
        """A look at random: most films are good, some dim and noisy, some through a messenger."""
        dim = rng.random() < 0.2
        sent = rng.random() < 0.45
        return cls(
            size=size,
            gain=float(rng.uniform(0.35, 0.7) if dim else rng.uniform(0.88, 1.1)),
            contrast=float(rng.uniform(0.92, 1.1)),
            wb=(float(rng.uniform(0.94, 1.06)), 1.0, float(rng.uniform(0.94, 1.06))),
            vignette=float(rng.uniform(0.0, 0.12)),
            noise=float(rng.uniform(4.0, 12.0) if dim else rng.uniform(0.8, 3.5)),
            blur=float(rng.uniform(0.3, 0.9)),
            quality=int(rng.integers(18, 45) if sent else rng.integers(55, 90)),
            squeeze=float(rng.uniform(0.5, 0.9)) if sent else 1.0,
            rng=rng,
        )

    def describe(self) -> dict[str, float]:
        """What was drawn, for the truth."""
        names = ("gain", "contrast", "vignette", "noise", "blur", "quality", "squeeze")
        return {name: float(getattr(self, name)) for name in names}

    def toned(self, picture: np.ndarray, margin: int) -> np.ndarray:
        """A scene (h, w, 3) in 0..1 with a margin around the picture, as 8 bits."""
        around = ((margin, margin), (margin, margin), (0, 0))
        scale, lift = (np.pad(a, around, mode="edge") for a in (self._scale, self._lift))
        out: np.ndarray = np.clip(picture * scale + lift + 0.5, 0, 255).astype(np.uint8)
        return out

    def toned_layer(self, layer: np.ndarray, box: tuple[slice, slice]) -> np.ndarray:
        """A premultiplied layer (h, w, 4) that lies in a box of the picture, in 0..255."""
        return np.asarray(layer[..., :3] * self._scale[box] + self._lift[box] * layer[..., 3:])

    def finished(self, picture: np.ndarray) -> np.ndarray:
        """Lens blur, grain, messenger."""
        out = cv2.GaussianBlur(picture, (0, 0), self.blur)
        dy, dx = (int(v) for v in self.rng.integers(0, MARGIN_GRAIN, 2))
        height, width = out.shape[:2]
        out = cv2.add(out, self._grain[dy : dy + height, dx : dx + width], dtype=cv2.CV_8U)
        if self.squeeze < 1.0:
            size = (max(2, round(width * self.squeeze)), max(2, round(height * self.squeeze)))
            out = cv2.resize(out, size, interpolation=cv2.INTER_AREA)
        if self.quality < 100:
            plain = cv2.cvtColor(out, cv2.COLOR_RGB2BGR)
            coded = cv2.imencode(".jpg", plain, [cv2.IMWRITE_JPEG_QUALITY, self.quality])[1]
            back = cv2.imdecode(coded, cv2.IMREAD_COLOR)
            assert back is not None  # it was encoded on the line above
            out = cv2.cvtColor(back, cv2.COLOR_BGR2RGB)
        if self.squeeze < 1.0:
            out = cv2.resize(out, (width, height), interpolation=cv2.INTER_LINEAR)
        return np.asarray(out)
