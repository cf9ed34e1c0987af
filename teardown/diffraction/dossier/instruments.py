"""Diffractometers as their page shows them: set to what, calibrated when, and whether that still holds."""

import datetime as dt
from dataclasses import dataclass

from teardown.diffraction.models import Calibration, Diffractometer
from teardown.diffraction.rules import standing_of
from teardown.page.typesetting import number
from teardown.science.crystallography.phases import phase_table


@dataclass(frozen=True, slots=True)
class InstrumentRow:
    """One instrument with its latest calibration; ``doubt`` is a sentence where that does not hold today."""

    instrument: Diffractometer
    calibration: Calibration | None
    against: str
    widths: str
    doubt: str


def instruments(today: dt.date) -> list[InstrumentRow]:
    """Give all instruments; two queries, however many."""
    known = Diffractometer.objects.prefetch_related("calibrations__pattern__receipt")
    return [_row(one, today) for one in known]


def _row(one: Diffractometer, today: dt.date) -> InstrumentRow:
    known = list(one.calibrations.all())
    latest = known[-1] if known else None
    if latest is None:
        return InstrumentRow(one, None, "", "", "never calibrated")
    widths = "; ".join(f"{number(width, 3)}° at {place}°" for place, width in latest.widths_deg.items())
    standing = standing_of(latest.measured_on, one.changed_on, today, one.calibration_days)
    doubts = {"changed": "changed since", "old": f"older than {one.calibration_days} days"}
    name = phase_table().phases[latest.phase].name
    return InstrumentRow(one, latest, name, widths, doubts.get(standing, ""))
