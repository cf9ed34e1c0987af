"""How an electron microscope shows a phantom section: greys, blur, uneven field, charging, noise,
scratches, strip."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from teardown.science.stereology.classes import BRIGHT, METAL, OXIDE, PORE
from teardown.science.stereology.phantoms import SECOND_OXIDE, Section


@dataclass(frozen=True, slots=True)
class Exposure:
    """How a section is imaged. Greys on a scale where black is 0 and white 1; lengths in pixels.

    ``oxide_place`` is the oxide's grey where pore is 0 and metal is 1; ``noise`` the standard deviation at
    metal as a share of full scale; ``shading`` the peak-to-peak of the gain field; ``charging`` the
    brightening of pore edges.
    """

    pore: float = 0.14
    metal: float = 0.76
    oxide_place: float = 0.70
    second_oxide_place: float = 0.5
    bright_place: float = 1.3
    blur_px: float = 1.0
    noise: float = 0.04
    shading: float = 0.15
    curtaining: float = 0.0
    charging: float = 0.0
    scratches: int = 0
    bits: int = 8
    strip_px: int = 0
    bar_px: int = 0
    bar_text: str = ""


def expose(section: Section, exposure: Exposure, *, seed: int) -> NDArray[np.uint8] | NDArray[np.uint16]:
    """Image a section.

    Returns
    -------
    ndarray of uint8 or uint16, shape (rows + strip_px, columns)
        The picture as a microscope would save it, strip below.
    """
    rng = np.random.default_rng(seed)
    grey = _greys(section, exposure)
    if exposure.charging:
        grey = _charge(grey, section, exposure)
    blurred = cv2.GaussianBlur(grey, (0, 0), exposure.blur_px, borderType=cv2.BORDER_REFLECT)
    grey = np.asarray(blurred, np.float32)
    if exposure.scratches:
        grey = _scratch(grey, exposure.scratches, rng)
    grey *= _gain(grey.shape, exposure.shading, rng)
    if exposure.curtaining:
        columns = cv2.GaussianBlur(rng.standard_normal((1, grey.shape[1])).astype(np.float32), (0, 0), 1.5)
        grey *= 1 + exposure.curtaining * columns / columns.std()
    share_of_metal = np.clip(grey / exposure.metal, 0.05, None)
    noise = rng.standard_normal(grey.shape, dtype=np.float32)
    grey += noise * exposure.noise * np.sqrt(0.3 + 0.7 * share_of_metal)
    if exposure.strip_px:
        grey = _add_strip(grey, exposure)
    top = 65535 if exposure.bits == 16 else 255
    picture = np.clip(np.rint(grey * top), 0, top)
    return picture.astype(np.uint16) if exposure.bits == 16 else picture.astype(np.uint8)


def _greys(section: Section, exposure: Exposure) -> NDArray[np.float32]:
    def at(place: float) -> float:
        return exposure.pore + place * (exposure.metal - exposure.pore)

    table = np.zeros(256, np.float32)
    table[PORE], table[METAL] = exposure.pore, exposure.metal
    table[OXIDE], table[SECOND_OXIDE] = at(exposure.oxide_place), at(exposure.second_oxide_place)
    table[BRIGHT] = at(exposure.bright_place)
    rows, columns = section.codes.shape
    size = (columns // section.oversampling, rows // section.oversampling)
    return np.asarray(cv2.resize(table[section.codes], size, interpolation=cv2.INTER_AREA), np.float32)


def _charge(grey: NDArray[np.float32], section: Section, exposure: Exposure) -> NDArray[np.float32]:
    """Brighten solid near pore and let it glow a little into the pore, as an uncoated edge does."""
    step = section.oversampling
    solid = np.ascontiguousarray(section.codes[step // 2 :: step, step // 2 :: step] != PORE).astype(np.uint8)
    inward = cv2.distanceTransform(solid, cv2.DIST_L2, 5)
    outward = cv2.distanceTransform(1 - solid, cv2.DIST_L2, 5)
    rise = exposure.charging * exposure.metal
    glow = np.where(solid > 0, np.exp(-inward / 2.5), 0.35 * np.exp(-outward / 3.0))
    return np.asarray(grey + rise * glow, np.float32)


def _gain(shape: tuple[int, ...], peak_to_peak: float, rng: np.random.Generator) -> NDArray[np.float32]:
    y, x = np.meshgrid(np.linspace(-1, 1, shape[0]), np.linspace(-1, 1, shape[1]), indexing="ij")
    a = rng.uniform(-1, 1, 5)
    field = a[0] * x + a[1] * y + 0.6 * (a[2] * x * y + a[3] * x * x + a[4] * y * y)
    field -= field.mean()
    span = float(np.ptp(field))
    return np.asarray(1 + peak_to_peak * field / span if span else np.ones(shape), np.float32)


def _scratch(grey: NDArray[np.float32], count: int, rng: np.random.Generator) -> NDArray[np.float32]:
    """Draw faint, nearly parallel lines, as a worn polishing cloth leaves."""
    rows, columns = grey.shape
    marks = np.zeros_like(grey)
    slope = rng.uniform(-0.5, 0.5)
    for _ in range(count):
        middle = rng.uniform([0, 0], [columns, rows])
        half = rng.uniform(0.15, 0.5) * columns
        angle = slope + rng.normal(0, 0.05)
        reach = np.array([np.cos(angle), np.sin(angle)]) * half
        start, end = ((middle + sign * reach) * 16 for sign in (-1, 1))
        tone = float(rng.choice([-1, 1]) * rng.uniform(0.02, 0.06))
        cv2.line(marks, _whole(start), _whole(end), tone, 1, cv2.LINE_8, 4)
    return np.asarray(grey * (1 + cv2.GaussianBlur(marks, (0, 0), 0.7)), np.float32)


def _whole(point: NDArray[np.float64]) -> tuple[int, int]:
    return int(point[0]), int(point[1])


def _add_strip(grey: NDArray[np.float32], exposure: Exposure) -> NDArray[np.float32]:
    """Set an information strip under the picture: a flat ground, a bar and its length in words."""
    columns = grey.shape[1]
    strip = np.full((exposure.strip_px, columns), 15, np.uint8)
    middle = exposure.strip_px // 2
    right = columns - 24
    if exposure.bar_px:
        left = right - exposure.bar_px
        strip[middle - 1 : middle + 2, left:right] = 242
        strip[middle - 7 : middle + 7, [left, left + 1, right - 2, right - 1]] = 242
        text_at = (left - 12 - 10 * len(exposure.bar_text), middle + 6)
        cv2.putText(strip, exposure.bar_text, text_at, cv2.FONT_HERSHEY_SIMPLEX, 0.5, 242, 1, cv2.LINE_8)
    return np.vstack([grey, strip.astype(np.float32) / 255])
