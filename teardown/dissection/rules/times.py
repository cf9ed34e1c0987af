"""Time since opening: by the device's own steady clock where it can be, by the wall clock else."""

import datetime as dt
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Moment:
    """When something was: wall clock, and the steady clock of a device in ms if it is known.

    ``clock`` names the run of the steady clock; it changes when the device restarts.
    """

    at: dt.datetime
    steady_ms: int | None = None
    clock: str = ""


def minutes_between(start: Moment, end: Moment) -> float:
    """Give the minutes from start to end.

    Two moments of one steady clock are compared by it: someone may have set the wall clock in between.
    """
    if start.clock and start.clock == end.clock and start.steady_ms is not None and end.steady_ms is not None:
        return (end.steady_ms - start.steady_ms) / 60_000
    return (end.at - start.at).total_seconds() / 60


def exposure_words(minutes: float | None) -> str:
    """Say how long a piece was in air: a mark of the data's quality, never of safety.

    The bounds of 5 and 30 min are a proposal without a source.
    """
    if minutes is None:
        return "time in air not known"
    if minutes < 5:
        return "short exposure"
    return "noted exposure" if minutes < 30 else "long exposure"
