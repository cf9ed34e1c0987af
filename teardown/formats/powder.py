"""Powder patterns as text: two or three columns of all usual kinds, and powder CIF.

Angles and counts come out as they stand in the file; header and comment lines are kept word for word. What
the counts look like (scaled, smoothed, background taken off) is remarked at once.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from teardown.formats.powder_cif import looks_like_cif, pattern_in_cif
from teardown.formats.powder_columns import (
    of_columns,
    place_of_angles_and_counts,
    place_of_sigma,
    usable_sigma,
)
from teardown.formats.powder_rows import BrokenRow, NoPattern, NotText, OneColumn, decoded, read_rows
from teardown.formats.powder_tube import anode_in, foreign_radiation
from teardown.science.crystallography.quality import Quality, checked, quality
from teardown.science.crystallography.radiation import nearest_anode
from teardown.science.errors import Remark

__all__ = [
    "BrokenRow", "NoPattern", "NotText", "OneColumn", "PowderPattern", "anode_in", "decoded", "read_pattern",
]  # fmt: skip

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class PowderPattern:
    """A pattern as it was read.

    ``sigma`` are standard uncertainties of the counts where the file gives them; ``anode`` is a hint from the
    header or the wavelength, never more than that.
    """

    two_theta_deg: Array
    counts: Array
    sigma: Array | None
    header: str
    anode: str | None
    kind: str
    quality: Quality
    remarks: tuple[Remark, ...]


def read_pattern(data: bytes, name: str = "") -> PowderPattern:
    """Read a powder pattern.

    Parameters
    ----------
    data : bytes
        The file as it came.
    name : str
        Its name; only the ending ".xye" is taken as a hint that a third column holds uncertainties.

    Raises
    ------
    NotText, NoPattern, OneColumn, BrokenRow
        If the text holds no two columns.
    MeasurementError
        If they are not a powder pattern (too few points, angles that fall or are not degrees, not numbers).
    """
    text = decoded(data)
    return _from_cif(text) if looks_like_cif(text) else _from_text(text, name)


def _from_cif(text: str) -> PowderPattern:
    """Take the measured profile of a powder CIF."""
    cif = pattern_in_cif(text)
    x, y = checked(cif.two_theta_deg, cif.counts)
    looks = quality(x, y)
    sigma, said = (None, ()) if cif.sigma is None else usable_sigma(cif.sigma, y, looks, named=True)
    words = f"{cif.header}\n{cif.radiation}"
    anode = anode_in(words) if cif.wavelength_A is None else nearest_anode(cif.wavelength_A)
    remarks = (*foreign_radiation(words, cif.wavelength_A), *said, *looks.remarks)
    return PowderPattern(x, y, sigma, cif.header, anode, "powder CIF", looks, remarks)


def _from_text(text: str, name: str) -> PowderPattern:
    """Take angles, counts and uncertainties from columns of text."""
    rows = read_rows(text)
    angle, counts = place_of_angles_and_counts(rows)
    x, y = checked(rows.columns[angle], rows.columns[counts])
    looks = quality(x, y)
    at, named = place_of_sigma(rows, angle, counts, name)
    sigma, said = (None, ()) if at is None else usable_sigma(rows.columns[at], y, looks, named=named)
    beside = said or of_columns(rows, angle, counts, at if sigma is not None else None)
    kind = f"{min(len(rows.columns), 3)} columns of text"
    kind += " with decimal comma" if rows.decimal_comma else ""
    remarks = (*foreign_radiation(rows.header), *rows.remarks, *beside, *looks.remarks)
    return PowderPattern(x, y, sigma, rows.header, anode_in(rows.header), kind, looks, remarks)
