"""How much the numbers hang on the grey levels: the same field read again with levels a little off."""

from dataclasses import dataclass, replace
from math import hypot, sqrt

from teardown.science.stereology.classes import Levels
from teardown.science.stereology.interfaces import Sums, count_sums
from teardown.science.stereology.noise import Grey, Mask
from teardown.science.stereology.ratios import parts_of
from teardown.science.stereology.segmentation import Strictness, segment

SHIFT = 0.05
EDGE_SHIFT = 0.08
LARGEST_SIDE = 1024


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """Half ranges of each quantity when levels and edge width are shifted, and the standard uncertainty
    from them."""

    half_range: dict[str, float]
    uncertainty: dict[str, float]


def threshold_sensitivity(
    calm: Grey, levels: Levels, sigma: float, strictness: Strictness, valid: Mask | None = None
) -> Sensitivity:
    """Read the middle of a field again with the oxide level, the end levels and the edge width shifted both
    ways.

    Each shift is 5 % of the grey gap to the neighbouring class (8 % for the edge width), or twice the
    level's own standard error where that is more. The half range a of each knob gives a standard
    uncertainty a / sqrt(3).
    """
    calm, valid = _middle(calm, valid)

    def read(which: Levels, blur: float) -> Sums:
        return count_sums(segment(calm, which, blur, tests=strictness, valid=valid).labels)

    pairs = [
        [read(_shift_oxide(levels, sign), sigma) for sign in (-1, 1)],
        [read(_shift_ends(levels, sign), sigma) for sign in (-1, 1)],
        [read(levels, sigma * (1 + sign * EDGE_SHIFT)) for sign in (-1, 1)],
    ]
    half_range: dict[str, float] = {}
    uncertainty: dict[str, float] = {}
    for low, high in pairs:
        first, second = parts_of(low), parts_of(high)
        for key in first:
            one, other = first[key].value, second[key].value
            half = abs(one - other) / 2 if one is not None and other is not None else 0.0
            half_range[key] = max(half_range.get(key, 0.0), half)
            uncertainty[key] = hypot(uncertainty.get(key, 0.0), half / sqrt(3))
    return Sensitivity(half_range, uncertainty)


def _middle(calm: Grey, valid: Mask | None) -> tuple[Grey, Mask | None]:
    rows, columns = (min(side, LARGEST_SIDE) for side in calm.shape)
    top, left = (calm.shape[0] - rows) // 2, (calm.shape[1] - columns) // 2
    window = slice(top, top + rows), slice(left, left + columns)
    if valid is not None and not valid[window].any():
        return calm, valid
    return calm[window], None if valid is None else valid[window]


def _shift_oxide(levels: Levels, sign: int) -> Levels:
    def shifted(grey: float) -> float:
        gap = min(grey - levels.pore, levels.metal - grey)
        return grey + sign * max(SHIFT * gap, min(2 * levels.standard_error, 0.3 * gap))

    return replace(levels, oxides=tuple(shifted(grey) for grey in levels.oxides))


def _shift_ends(levels: Levels, sign: int) -> Levels:
    up = SHIFT * (min(levels.oxides) - levels.pore) * sign
    down = SHIFT * (levels.metal - max(levels.oxides)) * sign
    return replace(levels, pore=levels.pore + up, metal=levels.metal + down)
