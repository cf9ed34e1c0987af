"""Tells of the days at the microscope: what was looked at, and the fields that were brought in."""

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from teardown.dissection.actions import receive_order
from teardown.dissection.models import Section
from teardown.imaging.actions import Offered, add_micrographs, draw_region, name_reference
from teardown.imaging.models import ImagingSession, Micrograph
from teardown.site.demo.clock import Clock
from teardown.site.demo.fields import fields_of
from teardown.site.demo.lab import Lab
from teardown.site.demo.lives import Story


@dataclass(frozen=True, slots=True)
class Sitting:
    """A day at the microscope: the stories whose samples were looked at."""

    number: int
    at: dt.datetime
    stories: tuple[Story, ...]


def sittings_of(stories: Sequence[Story], *, now: dt.datetime, most: int = 6) -> list[Sitting]:
    """Put cells that were opened one after the other together, as the microscopist does."""
    wanted = [s for s in stories if s.opened and s.opened < now - dt.timedelta(days=14)]
    waiting = sorted(wanted, key=lambda story: story.opened or now)
    sittings: list[Sitting] = []
    while waiting:
        first = waiting[0].opened or now
        together = [s for s in waiting[:most] if s.opened and s.opened < first + dt.timedelta(days=30)]
        waiting = waiting[len(together) :]
        last = together[-1].opened or now
        sittings.append(Sitting(len(sittings) + 1, last + dt.timedelta(days=5, hours=3), tuple(together)))
    return sittings


def bring(lab: Lab, sitting: Sitting, clock: Clock, drawn: Callable[[Story, str], list[bytes]]) -> int:
    """Tell of a sitting: every field of every sample brought in at once; give how many."""
    clock.set(sitting.at)
    microscopist, offered = lab.people["microscopist"], []
    session = ImagingSession.objects.create(
        name=f"Sitting {sitting.number}, {sitting.at:%-d %B %Y}",
        on=sitting.at.date(),
        settings={"voltage_kV": 15, "detector": "backscattered electrons", "working_distance_mm": 8.5},
    )
    for story in sitting.stories:
        found = Section.objects.filter(mount__contents__sample__part__dissection__cell__code=story.code)
        for section in found.select_related("mount").order_by("pk"):
            sample = section.mount.contents.get().sample
            pictures = drawn(story, sample.place)
            kind = "tif" if fields_of(story, sample.place, 1)[0].tiff else "png"
            offered += [
                Offered(
                    data, f"{story.code}_{sample.code}_{number:02}.{kind}", sample=sample, section=section,
                    field_number=number,
                )
                for number, data in enumerate(pictures, start=1)
            ]  # fmt: skip
            for order in sample.orders.filter(technique__key="technique.section"):
                receive_order(order=order, by=microscopist)
    added = add_micrographs(offered=offered, session=session, by=microscopist)
    assert not added.refused, added.refused
    if added.micrographs:
        name_reference(session=session, micrograph=added.micrographs[0], by=microscopist)
    if sitting.number == 1:
        _draw_faces(added.micrographs, lab)
    return len(added.micrographs)


def _draw_faces(micrographs: Sequence[Micrograph], lab: Lab) -> None:
    """Tell of the line along the air face, drawn on the first fields, so that they have a depth profile."""
    for micrograph in micrographs:
        line = [[0, 2], [micrograph.width_px - 1, 2]]
        draw_region(micrograph=micrograph, kind="face", points=line, by=lab.people["microscopist"])
