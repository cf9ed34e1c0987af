"""Tells of diffraction results: patterns measured here, phase fractions refined elsewhere."""

import datetime as dt

from teardown.diffraction.actions import add_diffractometer, add_pattern, calibrate, give_fractions
from teardown.diffraction.models import Diffractometer
from teardown.dissection import actions as bench
from teardown.dissection.models import Order
from teardown.files.tasks import work_off
from teardown.site.demo.clock import Clock
from teardown.site.demo.compositions import composition, measured_here, standard
from teardown.site.demo.lab import Lab
from teardown.site.demo.lives import Story

NEVER = 0.1  # share of those whose result never came
INSTRUMENT = "Powder diffractometer, room 4"
TRUSTED_FOR_DAYS = 1200


def calibrate_instrument(lab: Lab, on: dt.date) -> None:
    """Tell of the laboratory's own instrument and the scan of its standard, worked off at once.

    What is measured later is fitted with the line shape found here.
    """
    by = lab.people["microscopist"]
    instrument = add_diffractometer(
        name=INSTRUMENT, radiation="co", slits="fixed", calibration_days=TRUSTED_FOR_DAYS, by=by
    )
    scan = add_pattern(
        file=standard(), name="silicon.xy", radiation="co", diffractometer=instrument, measured_on=on,
        fit=False, by=by,
    )  # fmt: skip
    calibrate(pattern=scan, phase="silicon", by=by)
    work_off()


def bring(lab: Lab, story: Story, clock: Clock, data: bytes) -> None:
    """Tell how the result of a cell came back, if it ever did."""
    assert story.opened is not None
    clock.set(story.opened + dt.timedelta(days=11, hours=2))
    microscopist = lab.people["microscopist"]
    order = Order.objects.select_related("sample").get(
        sample__part__dissection__cell__code=story.code, technique__key="technique.diffraction"
    )
    if story.rng("lost").random() < NEVER:
        bench.receive_order(order=order, by=microscopist, state=Order.State.NOTHING, note="capillary broke")
        return
    if measured_here(story):
        add_pattern(
            file=data, name=f"{story.code}.xy", sample=order.sample, radiation="co", preparation="ground",
            phases=list(composition(story)), grain_um=(1.0, 5.0),
            diffractometer=Diffractometer.objects.get(name=INSTRUMENT),
            measured_on=(story.opened + dt.timedelta(days=9)).date(), by=microscopist,
        )  # fmt: skip
    else:
        give_fractions(
            result=data, name=f"{story.code} refined.csv", sample=order.sample, unit="percent",
            source="refined by a colleague outside the laboratory", by=microscopist,
        )  # fmt: skip
    bench.receive_order(order=order, by=microscopist)
