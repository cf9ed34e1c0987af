"""When tests that run will end, and what work that brings to the bench, week by week."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median

from teardown.science.errors import MeasurementError

FEWEST_DONE = 30
"""Dissections after which the median of a laboratory's own takes the place of a proposal."""
PROPOSED_H = 2.5
"""Hands-on hours a cell before there is a median: a proposal, no source."""


class NoForecast(MeasurementError):
    """Nothing tells when a test will end."""

    code = "reliability.E007"
    hint = "Import its cycling file, or wait until it has faded measurably."


@dataclass(frozen=True, slots=True)
class Forecast:
    """Days until a test ends: soonest, likely, latest; ``latest_days`` is None where no end is in sight."""

    soonest_days: float
    likely_days: float
    latest_days: float | None
    method: str

    def share_by(self, days: float) -> float:
        """Give the chance that it has ended by then: a triangle between soonest, likely and latest.

        Where the latest is open, half of the chance lies beyond the likely day and is never reached here.
        """
        low, mode, high = self.soonest_days, self.likely_days, self.latest_days
        if high is not None and days >= high:
            return 1.0
        if days <= low:
            return 0.0
        if high is None:
            return 0.5 * min((days - low) / max(mode - low, 1e-9), 1.0)
        if days <= mode:
            return (days - low) ** 2 / max((high - low) * (mode - low), 1e-9)
        return 1.0 - (high - days) ** 2 / max((high - low) * (high - mode), 1e-9)


def forecast(
    *, retention: float, limit: float, fade_per_day: float, fade_low: float, fade_high: float
) -> Forecast:
    """Carry the fade of a test on to the limit at which it ends, as a straight line.

    Parameters
    ----------
    retention, limit : float
        Share of the reference capacity that is left, and at which the test ends; 0 to 1.
    fade_per_day, fade_low, fade_high : float
        Share lost a day with its 95 % interval; above zero where capacity falls.

    Returns
    -------
    Forecast
        In days from the last cycle. A knee ahead is not foreseen: the end may come sooner.

    Raises
    ------
    NoForecast
        If it does not fade, so that no end is in sight.
    """
    left = retention - limit
    if left <= 0:
        return Forecast(0.0, 0.0, 0.0, "it is at its limit")
    if fade_per_day <= 0 or fade_high <= 0:
        raise NoForecast(f"It loses {fade_per_day:.2g} of its capacity a day, which leads to no end.")
    latest = left / fade_low if fade_low > 0 else None
    return Forecast(left / fade_high, left / fade_per_day, latest, "its fade carried on as a straight line")


def from_sisters(age_days: float, lives_days: Sequence[float]) -> Forecast:
    """Expect of a test what its sisters did that lived longer than it has lived: least, median, most.

    Raises
    ------
    NoForecast
        If no sister lived longer.
    """
    longer = sorted(life - age_days for life in lives_days if life > age_days)
    if not longer:
        raise NoForecast("None of its sisters lived longer than it has.")
    return Forecast(longer[0], float(median(longer)), longer[-1], f"lives of {len(longer)} of its sisters")


@dataclass(frozen=True, slots=True)
class Week:
    """One week to come: cells expected to end, the work they bring, what the bench has, what is left over."""

    number: int
    ending: float
    wanted_h: float
    has_h: float
    waiting_h: float


def weeks(
    forecasts: Iterable[Forecast], *, waiting: int, hours_a_cell: float, hours_a_week: float, count: int = 8
) -> tuple[Week, ...]:
    """Hold tests expected to end against the hours of the bench; what is not done waits for the next week.

    Parameters
    ----------
    waiting : int
        Cells that wait already.
    """
    known = list(forecasts)
    found, behind = [], waiting * hours_a_cell
    for number in range(1, count + 1):
        ending = sum(each.share_by(7 * number) - each.share_by(7 * (number - 1)) for each in known)
        wanted = ending * hours_a_cell
        behind = max(behind + wanted - hours_a_week, 0.0)
        found.append(Week(number, ending, wanted, hours_a_week, behind))
    return tuple(found)


def hours_a_cell(done_h: Sequence[float], proposed_h: float | None = None) -> tuple[float, str]:
    """Give the hands-on hours of a cell, and from where: the laboratory's own median once it has thirty."""
    if len(done_h) >= FEWEST_DONE:
        return float(median(done_h)), f"median of {len(done_h)} dissections logged here"
    if proposed_h is not None:
        return proposed_h, "as the laboratory set it"
    return PROPOSED_H, "a proposal, no source"
