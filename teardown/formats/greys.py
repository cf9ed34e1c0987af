"""From stored samples to greys: depth, colour, transparency, overlays and missing values."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from teardown.science.errors import ReadingError, Remark

OVERLAY_STEP = 40 / 255
OVERLAY_MOST = 0.10
OVERLAY_RIM_PX = 6
# full scales of cameras that store fewer bits than the sixteen of a sample
NARROW_SCALES = (1023, 4095, 16383)


class NoGreys(ReadingError):
    """The picture holds no greys that could be measured."""

    code = "micrograph.E005"
    hint = "Export the microscope's grey picture, without colouring."


@dataclass(frozen=True, slots=True)
class Greys:
    """Greys from 0 to 1, which pixels are left out, and what was done; ``bits`` where fewer are in use than a
    sample holds."""

    grey: NDArray[np.float32]
    left_out: NDArray[np.bool_] | None
    remarks: tuple[Remark, ...]
    bits: int | None = None


def full_scale(highest: int, told: int | None = None) -> int:
    """Give the full scale of 16-bit samples, by the highest of them and what the file tells.

    The commonest cameras give twelve bits and store them in sixteen; no picture whose highest sample is below
    a sixteenth of full scale could be measured otherwise. Ten and fourteen bits are taken where the file says
    so.
    """
    if told in NARROW_SCALES and highest <= told:
        return told
    return 4095 if highest <= 4095 else 65535


def narrow_remark(top: int) -> Remark:
    """Say that fewer bits are in use than a sample holds."""
    bits = top.bit_length()
    return Remark(
        "fewer_bits", "info", f"The samples use {bits} of 16 bits; {top} is taken for white.", float(bits)
    )


def to_greys(raw: NDArray[Any], *, told: int | None = None) -> Greys:
    """Turn an array of samples into greys.

    Parameters
    ----------
    raw : ndarray, shape (rows, columns) or (rows, columns, channels)
        Unsigned or signed whole numbers, or floats; 1 to 4 channels.
    told : int, optional
        The highest sample that the file says there may be.

    Raises
    ------
    NoGreys
        If the picture is coloured all over, or has no picture's shape.
    """
    if raw.ndim == 3 and raw.shape[2] == 1:
        raw = raw[:, :, 0]
    if raw.ndim not in (2, 3) or (raw.ndim == 3 and raw.shape[2] > 4):
        raise NoGreys(f"The data have shape {raw.shape}, which is no picture.")
    if raw.ndim == 2 and raw.dtype == np.uint16 and raw.size:
        top = full_scale(int(raw.max()), told)
        if top < 65535:
            unit = (raw * np.float32(1 / top)).astype(np.float32)
            return Greys(unit, None, (narrow_remark(top),), top.bit_length())
    unit, left_out, remarks = _to_unit(raw)
    if unit.ndim == 2:
        return Greys(unit, left_out, tuple(remarks))
    if unit.shape[2] in (2, 4):
        clear = unit[:, :, -1] < 0.5
        if clear.any():
            left_out = clear if left_out is None else left_out | clear
            remarks.append(
                Remark("transparent", "info", f"{clear.mean():.1%} of the picture is transparent.")
            )
        unit = unit[:, :, :-1]
    if unit.shape[2] == 1:
        return Greys(np.ascontiguousarray(unit[:, :, 0]), left_out, tuple(remarks))
    return _uncoloured(unit, left_out, remarks)


def _to_unit(raw: NDArray[Any]) -> tuple[NDArray[np.float32], NDArray[np.bool_] | None, list[Remark]]:
    kind = raw.dtype.kind
    if kind == "u":
        top = np.iinfo(raw.dtype).max
        return (raw * np.float32(1 / top)).astype(np.float32), None, []
    if kind == "i":
        low, high = int(raw.min()), int(raw.max())
        if low >= 0 and high <= 65535:
            top = 255 if high <= 255 else 65535
            return (raw / np.float32(top)).astype(np.float32), None, []
        return _stretched(raw.astype(np.float64), f"Whole numbers from {low} to {high}")
    if kind == "f":
        return _from_floats(raw.astype(np.float64))
    raise NoGreys(f"Samples of type {raw.dtype} are no greys.")


def _from_floats(
    raw: NDArray[np.float64],
) -> tuple[NDArray[np.float32], NDArray[np.bool_] | None, list[Remark]]:
    missing = ~np.isfinite(raw)
    left_out: NDArray[np.bool_] | None = None
    remarks: list[Remark] = []
    if missing.any():
        if missing.all():
            raise NoGreys("Every sample is missing.")
        left_out = np.asarray(missing.any(axis=2) if raw.ndim == 3 else missing, bool)
        raw = np.where(missing, float(raw[~missing].min()), raw)
        remarks.append(Remark("missing_values", "info", f"{missing.mean():.1%} of the samples are missing."))
    low, high = float(raw.min()), float(raw.max())
    if low >= 0 and high <= 1:
        return raw.astype(np.float32), left_out, remarks
    grey, _, more = _stretched(raw, f"Samples from {low:.4g} to {high:.4g}")
    return grey, left_out, remarks + more


def _stretched(raw: NDArray[np.float64], what: str) -> tuple[NDArray[np.float32], None, list[Remark]]:
    low, high = float(raw.min()), float(raw.max())
    span = high - low or 1.0
    words = f"{what} were placed on the scale from black to white, linearly."
    return ((raw - low) / span).astype(np.float32), None, [Remark("placed_on_scale", "info", words)]


def _uncoloured(
    unit: NDArray[np.float32], left_out: NDArray[np.bool_] | None, remarks: list[Remark]
) -> Greys:
    """Take the grey of a picture stored as colour; mask coloured marks, refuse a coloured picture."""
    spread = unit.max(axis=2) - unit.min(axis=2)
    coloured = spread > OVERLAY_STEP
    share = float(coloured.mean())
    if share > OVERLAY_MOST:
        raise NoGreys(f"{share:.0%} of the picture is coloured.")
    grey = np.ascontiguousarray(np.median(unit, axis=2), dtype=np.float32)
    if coloured.any():
        import cv2

        reach = 2 * OVERLAY_RIM_PX + 1
        marks = cv2.dilate(coloured.astype(np.uint8), np.ones((reach, reach), np.uint8)) > 0
        left_out = marks if left_out is None else left_out | marks
        remarks.append(
            Remark(
                "coloured_marks",
                "info",
                f"Coloured marks cover {share:.1%} of the picture; they and their rims are left out.",
                share,
            )
        )
    return Greys(grey, left_out, tuple(remarks))
