"""How much the numbers hang on the grey levels: the same field read again with levels a little off."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import hypot, sqrt

import numpy as np

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
class Turned:
    """How each quantity moved, as a half range, when one knob was turned both ways by ``step``: greys of the
    oxide's level or of the ends', or a share of the edge width."""

    step: float
    half: dict[str, float]


@dataclass(frozen=True, slots=True)
class Slopes:
    """How each quantity hangs on the levels and the edge width, near those that it was told at."""

    levels: Levels
    edge_sigma_px: float
    sure: bool
    oxide: Turned
    ends: Turned
    edge: Turned

    def hold_for(self, levels: Levels, sigma: float, *, sure: bool) -> bool:
        """Tell whether other levels lie no farther off than the knobs were turned, and part the classes in
        the same way."""
        here = self.levels
        alike = len(levels.oxides) == len(here.oxides) and (levels.bright is None) == (here.bright is None)
        plain = not levels.thresholds and not here.thresholds and "prior" not in (levels.source, here.source)
        if not (alike and plain and sure == self.sure):
            return False
        first, second = (np.array([one.pore, *one.oxides, one.metal]) for one in (here, levels))
        reach = SHIFT * np.diff(first).min()
        near = np.abs(first - second).max() <= reach
        return bool(near and abs(sigma / self.edge_sigma_px - 1) <= EDGE_SHIFT)

    def at(self, levels: Levels) -> "Sensitivity":
        """Give what the same slopes mean for levels that are known better or worse."""
        steps = _oxide_step(levels), _ends_step(levels), self.edge.step
        return from_turns(
            [
                Turned(step, {key: half * step / one.step for key, half in one.half.items()})
                for one, step in zip((self.oxide, self.ends, self.edge), steps, strict=True)
            ]
        )


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """Half ranges of each quantity when levels and edge width are shifted, the standard uncertainty from
    them, and the slopes that they were told by."""

    half_range: dict[str, float]
    uncertainty: dict[str, float]
    slopes: Slopes | None = None


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
    so. The half range a of each knob gives a standard uncertainty a / sqrt(3).
    """
    # the edge width does not move the thresholds, so both of its readings share one first look
    relief = Relief.of(calm)
    look = first_look(place_of(calm, levels), levels, tightened(strictness, levels))

    def read(which: Levels, blur: float, seen: FirstLook | None = None) -> Sums:
        cut = segment(calm, which, blur, tests=strictness, valid=valid, look=seen, relief=relief, sure=sure)
        return count_sums(cut.labels, directions=4)

    both = -1, 1
    oxide = half_ranges(*(read(_shift_oxide(levels, sign), sigma) for sign in both))
    ends = half_ranges(*(read(_shift_ends(levels, sign), sigma) for sign in both))
    edge = half_ranges(*(read(levels, sigma * (1 + sign * EDGE_SHIFT), look) for sign in both))
    slopes = Slopes(
        levels,
        sigma,
        bool(sure),
        Turned(_oxide_step(levels), oxide),
        Turned(_ends_step(levels), ends),
        Turned(EDGE_SHIFT, edge),
    )
    return replace(from_turns([slopes.oxide, slopes.ends, slopes.edge]), slopes=slopes)


def half_ranges(low: Sums, high: Sums) -> dict[str, float]:
    """Give half of what each quantity moves between two readings; 0 where either has none."""
    first, second = parts_of(low), parts_of(high)
    values = {key: (first[key].value, second[key].value) for key in first}
    return {
        key: 0.0 if one is None or other is None else abs(one - other) / 2
        for key, (one, other) in values.items()
    }


def from_turns(turns: Sequence[Turned]) -> Sensitivity:
    """Give half ranges and standard uncertainties from all knobs together."""
    keys = turns[0].half
    return Sensitivity(
        {key: max(one.half[key] for one in turns) for key in keys},
        {key: hypot(*(one.half[key] / sqrt(3) for one in turns)) for key in keys},
    )


def with_outline(doubt: Sensitivity, parts: Mapping[str, Parts], relative: float) -> Sensitivity:
    """Add what is not known of the metal outline, as a share of it, to all that hangs on its length."""
    wider = dict(doubt.uncertainty)
    for key in ("specific_surface", "oxide_thickness"):
        wider[key] = hypot(wider.get(key, 0.0), relative * (parts[key].value or 0.0))
    return replace(doubt, uncertainty=wider)


def _step_of(grey: float, levels: Levels) -> float:
    gap = min(grey - levels.pore, levels.metal - grey)
    return max(SHIFT * gap, min(2 * levels.standard_error, 0.3 * gap))


def _oxide_step(levels: Levels) -> float:
    return _step_of(min(levels.oxides), levels)


def _ends_step(levels: Levels) -> float:
    return SHIFT * (levels.contrast - (max(levels.oxides) - min(levels.oxides)))


def _shift_oxide(levels: Levels, sign: int) -> Levels:
    moved = tuple(grey + sign * _step_of(grey, levels) for grey in levels.oxides)
    # thresholds lie half-way between levels, so they follow a level by half
    halves = (sign * _step_of(grey, levels) / 2 for grey in (min(levels.oxides), max(levels.oxides)))
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
