"""Which column of a text holds the angles, which the counts, which their uncertainties."""

import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from teardown.formats.powder_rows import Rows
from teardown.science.crystallography.quality import Quality
from teardown.science.errors import Remark

Array = NDArray[np.float64]

ANGLE = re.compile(r"2\s*[-_*·]?\s*(θ|theta|th)|two[\s_-]*theta|^tth", re.IGNORECASE)
THETA = re.compile(r"(θ|theta|th|omega)\W*(\W(deg|degrees|°)\W*)?", re.IGNORECASE)
SPREAD = re.compile(r"\b(esd|e\.s\.d|sigma|uncert\w*|err|error|std|su)\b|σ", re.IGNORECASE)
NOT_COUNTED = re.compile(r"calc|back|bkg|bgr|diff|resid|rate|cps|per\s*s|/\s*s|net", re.IGNORECASE)
COUNTED = (
    re.compile(r"count|cts|impuls", re.IGNORECASE),
    re.compile(r"intens|obs|meas|^[iy]$", re.IGNORECASE),
)
# Of the square of an uncertainty over what counting or scatter gives: beyond, it is something else.
LIKE_COUNTING = (0.2, 5.0)


def place_of_angles_and_counts(rows: Rows) -> tuple[int, int]:
    """Choose the columns by their heads where these are plain, else the first two."""
    titles = rows.titles
    if len(titles) < 3:
        return 0, 1
    angle = _only(titles, ANGLE)
    usable = [k for k, t in enumerate(titles) if not NOT_COUNTED.search(t) and not SPREAD.search(t)]
    for pattern in COUNTED:
        counts = _only(titles, pattern, usable)
        if angle is not None and counts is not None and angle != counts:
            return angle, counts
    return 0, 1


def _only(titles: Sequence[str], pattern: re.Pattern[str], among: Sequence[int] | None = None) -> int | None:
    """Give the one column whose head matches, or None if none or several do."""
    found = [k for k in (range(len(titles)) if among is None else among) if pattern.search(titles[k])]
    return found[0] if len(found) == 1 else None


def of_columns(rows: Rows, angle: int, counts: int, sigma: int | None) -> tuple[Remark, ...]:
    """Remark on columns that were passed over, or chosen by their heads."""
    said: list[Remark] = []
    n, titles = len(rows.columns), rows.titles
    if titles and THETA.fullmatch(titles[angle].strip()):
        message = f'The angles are headed "{titles[angle]}" and are read as 2θ.'
        said.append(Remark("HEADED_THETA", "warning", message, remedy="If they are θ, export against 2θ."))
    if (angle, counts) != (0, 1):
        message = f'By their heads, "{titles[angle]}" was read as 2θ and "{titles[counts]}" as counts.'
        said.append(Remark("CHOSEN_BY_HEAD", "info", message, remedy="Give two columns if these are others."))
    if n > 2 and sigma is None and (angle, counts) == (0, 1):
        beside = [k for k in range(2, n) if bool(np.all(np.diff(rows.columns[k]) > 0))]
        message = "A third column is there and is not taken as the uncertainty of the counts."
        if n > 3:
            message = f"{n} columns are there; the first two are read as 2θ and counts, the rest is left."
        if beside:
            message += f" Column {beside[0] + 1} rises like angles: a second scan seems to stand there."
        remedy = "Give each scan as a file of its own." if beside else "Name the file .xye if it is."
        said.append(Remark("THIRD_COLUMN", "warning" if beside else "info", message, remedy=remedy))
    return tuple(said)


def place_of_sigma(rows: Rows, angle: int, counts: int, name: str) -> tuple[int | None, bool]:
    """Find the column of uncertainties, and say whether it was named as one."""
    if len(rows.columns) < 3:
        return None, False
    titled = _only(rows.titles, SPREAD) if rows.titles else None
    if titled is not None and titled not in (angle, counts):
        return titled, True
    third = 2 if (angle, counts) == (0, 1) else None
    named = name.lower().endswith(".xye") or bool(SPREAD.search(rows.header))
    return third, named


def usable_sigma(
    sigma: Array, counts: Array, looks: Quality, *, named: bool
) -> tuple[Array | None, tuple[Remark, ...]]:
    """Take uncertainties that may be some, and say of a column named so why it is not taken."""
    whole = bool(np.all(np.isfinite(sigma)) and np.all(sigma > 0))
    expected = np.maximum(counts, 1.0) * (1.0 if looks.counts_are_whole else max(looks.noise_factor, 1e-12))
    ratio = float(np.median(sigma**2 / np.maximum(expected, 1e-12))) if whole else 0.0
    smoothed = looks.smoothness < 0.7  # its scatter then says nothing of its uncertainty
    if whole and (LIKE_COUNTING[0] < ratio < LIKE_COUNTING[1] or (named and smoothed)):
        return sigma, ()
    if not named:
        return None, ()
    found = (
        f"their squares are {ratio:.2g} times what the counts or their scatter give"
        if whole
        else "some of them are zero, below zero or missing"
    )
    message = f"The column of uncertainties is not used: {found}. Weights are taken from the counts."
    return None, (
        Remark(
            "SIGMA_STRANGE",
            "warning",
            message,
            ratio,
            remedy="Give standard deviations, not variances or weights.",
        ),
    )
