"""Draws photographs of opened cells: a plate on a tray, a ruler, a card with its code. Invented."""

import io
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from teardown.formats.preview import SMALL_PX, shrink

Picture = NDArray[np.uint8]
WIDTH, HEIGHT = 1120, 840
PLATE = (400, 600)  # px, of 20 x 30 mm
LOOKS = {  # blue, green, red: how a plate looks by the colour that the chemist logged
    "metallic": (150, 152, 150),
    "dark_grey": (78, 78, 76),
    "black_matte": (44, 44, 46),
    "green": (92, 118, 88),
    "ochre": (74, 128, 168),
    "red_brown": (58, 74, 122),
    "white": (206, 210, 208),
    "black_glossy": (36, 34, 34),
    "mixed": (70, 88, 98),
}


def plate(
    code: str, *, colour: str, spots: float, cracks: int, crust: float, seed: int, note: str = ""
) -> bytes:
    """Draw a plate seen from above, as a JPEG.

    Parameters
    ----------
    colour : str
        Key of ``LOOKS``.
    spots : float
        Share of the plate under a film of another colour, 0 to 1.
    cracks : int
        Cracks across it.
    crust : float
        Share of its rim under white crust, 0 to 1.
    """
    rng = np.random.default_rng(seed)
    picture = _tray(rng)
    (x0, y0), (width, height) = _laid(seed), PLATE
    face = _grain(LOOKS[colour], height, width, rng, roughness=9)
    if spots > 0:
        _cover(face, LOOKS["ochre" if colour != "ochre" else "green"], spots, rng)
    for _ in range(cracks):
        _crack(face, rng)
    if crust > 0:
        _rim(face, crust, rng)
    picture[y0 : y0 + height, x0 : x0 + width] = face
    cv2.rectangle(picture, (x0, y0), (x0 + width, y0 + height), (40, 40, 40), 1)
    _tab(picture, x0, y0, width)
    return _finish(picture, code, note, rng)


def corners_of(seed: int) -> list[tuple[float, float]]:
    """Give the corners of a plate drawn from this seed, as fractions of the picture, round from top left."""
    (x0, y0), (width, height) = _laid(seed), PLATE
    corners = ((x0, y0), (x0 + width, y0), (x0 + width, y0 + height), (x0, y0 + height))
    return [(x / WIDTH, y / HEIGHT) for x, y in corners]


def _laid(seed: int) -> tuple[int, int]:
    """Say where the plate was laid on the tray: never in the same place twice."""
    chance = np.random.default_rng([seed, 1])
    return 330 + int(chance.integers(-25, 25)), 110 + int(chance.integers(-15, 15))


def cell_outside(code: str, *, crust: float, seed: int, note: str = "") -> bytes:
    """Draw a closed cell standing on the tray, with crust at its seal, as a JPEG."""
    rng = np.random.default_rng(seed)
    picture = _tray(rng)
    x0, y0, width, height = 350, 150, 380, 560
    picture[y0 : y0 + height, x0 : x0 + width] = _grain((196, 198, 190), height, width, rng, roughness=3)
    cv2.rectangle(picture, (x0, y0), (x0 + width, y0 + height), (90, 92, 90), 3)
    cv2.rectangle(picture, (x0 - 14, y0 - 40), (x0 + width + 14, y0), (120, 110, 96), -1)
    for side in (0.3, 0.7):
        cv2.rectangle(
            picture,
            (int(x0 + side * width) - 12, y0 - 84),
            (int(x0 + side * width) + 12, y0 - 40),
            (90, 140, 170),
            -1,
        )
    for _ in range(int(crust * 160)):
        middle = (int(x0 + rng.uniform(-10, width + 10)), int(y0 + rng.normal(0, 9)))
        cv2.circle(picture, middle, int(rng.integers(2, 7)), (238, 240, 240), -1, cv2.LINE_AA)
    return _finish(picture, code, note, rng)


def sheet(code: str, *, stain: float, growth: bool, seed: int, note: str = "") -> bytes:
    """Draw a separator or an air electrode laid flat, stained and perhaps grown through, as a JPEG."""
    rng = np.random.default_rng(seed)
    picture = _tray(rng)
    x0, y0, width, height = 310, 110, 440, 620
    face = _grain((214, 216, 212), height, width, rng, roughness=5)
    if stain > 0:
        _cover(face, (96, 124, 150), stain, rng)
    if growth:
        for _ in range(9):
            middle = (int(rng.uniform(40, width - 40)), int(rng.uniform(40, height - 40)))
            cv2.circle(face, middle, int(rng.integers(2, 5)), (40, 40, 44), -1, cv2.LINE_AA)
    picture[y0 : y0 + height, x0 : x0 + width] = face
    return _finish(picture, code, note, rng)


def _tray(rng: np.random.Generator) -> Picture:
    tray = _grain((226, 232, 234), HEIGHT, WIDTH, rng, roughness=2)
    light = np.linspace(0.86, 1.0, WIDTH)[None, :, None] * np.linspace(1.0, 0.9, HEIGHT)[:, None, None]
    return np.asarray(tray * light, np.uint8)


def _grain(
    colour: tuple[int, int, int], height: int, width: int, rng: np.random.Generator, *, roughness: float
) -> Picture:
    coarse = cv2.resize(
        rng.standard_normal((max(4, height // 24), max(4, width // 24))).astype(np.float32), (width, height),
        interpolation=cv2.INTER_CUBIC,
    )  # fmt: skip
    fine = rng.standard_normal((height, width), dtype=np.float32)
    relief = roughness * (coarse + 0.5 * fine)
    return np.asarray(np.clip(np.array(colour, np.float32) + relief[..., None], 0, 255), np.uint8)


def _cover(face: Picture, colour: tuple[int, int, int], share: float, rng: np.random.Generator) -> None:
    height, width = face.shape[:2]
    field = cv2.GaussianBlur(rng.standard_normal((height, width)).astype(np.float32), (0, 0), 22)
    under = field < np.quantile(field, share)
    face[under] = (0.35 * face[under] + 0.65 * np.array(colour)).astype(np.uint8)


def _crack(face: Picture, rng: np.random.Generator) -> None:
    height, width = face.shape[:2]
    steps = 14
    x = np.cumsum(rng.normal(0, width / 40, steps)) + rng.uniform(0.2, 0.8) * width
    y = np.linspace(rng.uniform(0, 0.3), rng.uniform(0.6, 1), steps) * height
    points = np.column_stack([x, y]).astype(np.int32)
    cv2.polylines(face, [points], isClosed=False, color=(22, 22, 22), thickness=2, lineType=cv2.LINE_AA)


def _rim(face: Picture, share: float, rng: np.random.Generator) -> None:
    height, width = face.shape[:2]
    for _ in range(int(share * 260)):
        along = rng.uniform(0, 2 * (height + width))
        x, y = (along, 0.0) if along < width else (0.0, along - width)
        if along > width + height:
            x, y = (
                (width - 1.0, along - width - height)
                if along < width + 2 * height
                else (along % width, height - 1.0)
            )
        middle = (int(x + rng.normal(0, 6)), int(y + rng.normal(0, 6)))
        cv2.circle(face, middle, int(rng.integers(2, 8)), (240, 242, 242), -1, cv2.LINE_AA)


def _tab(picture: Picture, x0: int, y0: int, width: int) -> None:
    cv2.rectangle(picture, (x0 + width - 90, y0 - 70), (x0 + width - 40, y0), (140, 144, 146), -1)
    cv2.rectangle(picture, (x0 + width - 90, y0 - 70), (x0 + width - 40, y0), (60, 60, 60), 1)


def _finish(picture: Picture, code: str, note: str, rng: np.random.Generator) -> bytes:
    """Lay the ruler and the card beside it, blur as a lens does, and press the shutter."""
    cv2.rectangle(picture, (60, 80), (110, 760), (208, 226, 236), -1)
    for millimetre in range(35):
        y = 100 + millimetre * 19
        long = 26 if millimetre % 10 == 0 else 18 if millimetre % 5 == 0 else 11
        cv2.line(picture, (110 - long, y), (110, y), (40, 40, 40), 1)
        if millimetre % 10 == 0:
            cv2.putText(
                picture,
                str(millimetre),
                (64, y + 5),
                cv2.FONT_HERSHEY_SIMPLEX,
                0.42,
                (40, 40, 40),
                1,
                cv2.LINE_AA,
            )
    cv2.rectangle(picture, (850, 620), (1080, 770), (246, 248, 250), -1)
    cv2.rectangle(picture, (850, 620), (1080, 770), (120, 120, 120), 1)
    for text, y, size in ((code, 668, 1.0), (note[:24], 710, 0.5), ("invented", 748, 0.5)):
        cv2.putText(picture, text, (866, y), cv2.FONT_HERSHEY_SIMPLEX, size, (40, 36, 34), 1, cv2.LINE_AA)
    soft = cv2.GaussianBlur(picture, (0, 0), 0.8).astype(np.float32)
    soft += rng.standard_normal(soft.shape[:2], dtype=np.float32)[..., None] * 2.2
    done, data = cv2.imencode(".jpg", np.clip(soft, 0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 84])
    assert done
    return bytes(data.tobytes())


DRAWERS: dict[str, Callable[..., bytes]] = {"plate": plate, "cell_outside": cell_outside, "sheet": sheet}


@dataclass(frozen=True, slots=True)
class Shot:
    """One photograph to be drawn and told of: when, of what, and how it is drawn."""

    name: str
    minutes: float
    step: str
    component: str
    place: str
    frame: str
    how: str
    drawn: tuple[tuple[str, Any], ...]


def draw(shot: Shot) -> tuple[bytes, bytes]:
    """Draw a photograph, and the small picture of it that pages show."""
    data = bytes(DRAWERS[shot.how](**dict(shot.drawn)))
    with Image.open(io.BytesIO(data)) as picture:
        return data, shrink(picture, SMALL_PX)
