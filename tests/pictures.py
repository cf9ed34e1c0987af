"""Pictures that show nothing, the same in every run."""

import io

import numpy as np
from PIL import Image


def noise(seed: int = 1, size: tuple[int, int] = (160, 120), spread: float = 60) -> Image.Image:
    """Draw grey noise about the middle grey, unlike that of every other seed: no section, yet sharp."""
    width, height = size
    greys = np.random.default_rng(seed).normal(128, spread, (height, width))
    return Image.fromarray(greys.clip(0, 255).astype(np.uint8))


def noise_file(kind: str, seed: int = 1, size: tuple[int, int] = (160, 120)) -> bytes:
    """Give the bytes of such a picture as a file of this kind."""
    out = io.BytesIO()
    noise(seed, size).save(out, kind)
    return out.getvalue()
