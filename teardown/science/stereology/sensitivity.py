"""How much the numbers hang on the grey levels: the same field read again with levels a little off."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import hypot, sqrt

from teardown.science.stereology.bodies import Strictness
from teardown.science.stereology.classes import Levels
from teardown.science.stereology.edges import Relief
from teardown.science.stereology.interfaces import Sums, count_sums
from teardown.science.stereology.noise import Grey, Mask
from teardown.science.stereology.ratios import Parts, parts_of
from teardown.science.stereology.segmentation import FirstLook, first_look, place_of, segment, tightened

SHIFT = 0.05
EDGE_SHIFT = 0.08


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """Half ranges of each quantity when levels and edge width are shifted, and the standard uncertainty
    from them."""

    half_range: dict[str, float]
    uncertainty: dict[str, float]


def threshold_sensitivity(
    calm: Grey,
    levels: Levels,
    sigma: float,
    strictness: Strictness,
    valid: Mask | None = None,
    *,
    sure: bool | None = None,
) -> Sensitivity:
    """Read a part of a field again with the oxide level, the end levels and the edge width shifted both
    ways.

    Each shift is 5 % of the grey gap to the neighbouring class (8 % for the edge width), or twice the
    level's own standard error where that is more. ``sure`` tells whether the whole field's oxide was called
    so. The half range a of each knob gives a standard
    uncertainty a / sqrt(3).
    """

    # the edge width does not move the thresholds, so both of its readings share one first look
    relief = Relief.of(calm)
    look = first_look(place_of(calm, levels), levels, tightened(strictness, levels))

    def read(which: Levels, blur: float, seen: FirstLook | None = None) -> Sums:
        cut = segment(calm, which, blur, tests=strictness, valid=valid, look=seen, relief=relief, sure=sure)
        return count_sums(cut.labels, directions=4)

    pairs = [
        [read(_shift_oxide(levels, sign), sigma) for sign in (-1, 1)],
        [read(_shift_ends(levels, sign), sigma) for sign in (-1, 1)],
        [read(levels, sigma * (1 + sign * EDGE_SHIFT), look) for sign in (-1, 1)],
    ]
    return from_pairs([(low, high) for low, high in pairs])


def from_pairs(pairs: Sequence[tuple[Sums, Sums]]) -> Sensitivity:
    """Give half ranges and standard uncertainties from readings with each knob turned down and up."""
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


def with_outline(doubt: Sensitivity, parts: Mapping[str, Parts], relative: float) -> Sensitivity:
    """Add what is not known of the metal outline, as a share of it, to all that hangs on its length."""
    wider = dict(doubt.uncertainty)
    for key in ("specific_surface", "oxide_thickness"):
        wider[key] = hypot(wider.get(key, 0.0), relative * (parts[key].value or 0.0))
    return Sensitivity(doubt.half_range, wider)


def _shift_oxide(levels: Levels, sign: int) -> Levels:
    def step(grey: float) -> float:
        gap = min(grey - levels.pore, levels.metal - grey)
        return sign * max(SHIFT * gap, min(2 * levels.standard_error, 0.3 * gap))

    moved = tuple(grey + step(grey) for grey in levels.oxides)
    # thresholds lie half-way between levels, so they follow a level by half
    halves = step(min(levels.oxides)) / 2, step(max(levels.oxides)) / 2
    return replace(levels, oxides=moved, thresholds=_moved(levels, *halves))


def _shift_ends(levels: Levels, sign: int) -> Levels:
    up = SHIFT * (min(levels.oxides) - levels.pore) * sign
    down = SHIFT * (levels.metal - max(levels.oxides)) * sign
    return replace(
        levels,
        pore=levels.pore + up,
        metal=levels.metal + down,
        thresholds=_moved(levels, up / 2, down / 2),
    )


def _moved(levels: Levels, lower: float, upper: float) -> tuple[float, float] | None:
    if levels.thresholds is None:
        return None
    return levels.thresholds[0] + lower, levels.thresholds[1] + upper
