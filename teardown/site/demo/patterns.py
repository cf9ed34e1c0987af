"""Tells of diffraction results: patterns measured here, phase fractions refined elsewhere."""

import datetime as dt

from teardown.diffraction.actions import add_pattern, give_fractions
from teardown.dissection import actions as bench
from teardown.dissection.models import Order
from teardown.site.demo.clock import Clock
from teardown.site.demo.compositions import composition, measured_here
from teardown.site.demo.lab import Lab
from teardown.site.demo.lives import Story

NEVER = 0.1  # share of those whose result never came


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
            measured_on=(story.opened + dt.timedelta(days=9)).date(), by=microscopist,
        )  # fmt: skip
    else:
        give_fractions(
            result=data, name=f"{story.code} refined.csv", sample=order.sample, unit="percent",
            source="refined by a colleague outside the laboratory", by=microscopist,
        )  # fmt: skip
    bench.receive_order(order=order, by=microscopist)
