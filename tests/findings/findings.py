"""What the tests of findings need: an opened cell with something of each kind to point at."""

import datetime as dt
from typing import Any
from uuid import uuid4

from teardown.cells.models import Cell
from teardown.cycling.models import TestSummary
from teardown.diffraction.models import Fit, PhaseFraction
from teardown.dissection.models import Dissection, Entry, Part, Sample
from teardown.files.models import Run
from teardown.findings.actions import Assigned
from teardown.imaging.models import SampleMeasure
from teardown.records.actions import record
from teardown.vocabulary.models import Term, Version
from tests.makers import NOW, make_cell, make_test, make_user


def make_run(function: str, subject: str, **settings: Any) -> Run:
    """Make a finished run."""
    return Run.objects.create(
        key=uuid4().hex * 2,
        function=function,
        function_version="1",
        settings=settings,
        subject=subject,
        state=Run.State.DONE,
        asked_at=NOW,
        finished_at=NOW,
    )


def make_entry(dissection: Dissection, term: str = "iron.cover", **said: Any) -> Entry:
    """Make an entry as the bench would keep it."""
    from django.db import transaction

    person = said.pop("observer", None) or make_user("bench")
    with transaction.atomic():
        told = record(verb="logged", subject=dissection, by=person)
        return Entry.objects.create(
            key=uuid4(),
            payload_sha256="0" * 64,
            record=told,
            dissection=dissection,
            term=Term.objects.get(key=term),
            vocabulary=Version.objects.get(number=1),
            observed_at=NOW,
            entered_at=NOW,
            received_at=NOW,
            observer=person,
            **said,
        )


class Opened:
    """An opened cell: entry, image measure, phase and cycling summary, all of its own."""

    def __init__(self, cell: Cell | None = None, *, end: str = "capacity_limit", **test: Any) -> None:
        """Make the cell and what was found in it."""
        self.cell = cell or make_cell()
        self.test = make_test(self.cell, end=end, **test)
        self.dissection = Dissection.objects.create(cell=self.cell)
        person = make_user("bench")
        self.opening = make_entry(
            self.dissection, "opening.opened", observer=person, value_text="opened", step="opening"
        )
        self.entry = make_entry(self.dissection, extent="much", observer=person)
        self.part = Part.objects.create(
            dissection=self.dissection, component=Term.objects.get(key="component.iron_electrode")
        )
        self.sample = Sample.objects.create(
            code=f"S{self.cell.pk:06d}A", part=self.part, by=person, at=NOW, mass_mg=50
        )
        self.image = SampleMeasure.objects.create(
            run=make_run("imaging.sample", f"dissection.sample:{self.sample.pk}"),
            sample=self.sample,
            quantity="oxide_coverage",
            value=0.62,
            low=0.55,
            high=0.69,
            unit="1",
            n=6,
            method="Student's t over fields",
        )
        fit = Fit.objects.create(
            sample=self.sample, run=make_run("diffraction.external", f"dissection.sample:{self.sample.pk}")
        )
        self.phase = PhaseFraction.objects.create(
            fit=fit, phase="iron-hydroxide", weight_fraction=0.31, esd=0.01, u=0.015
        )
        self.summary = TestSummary.objects.create(
            test=self.test,
            run=make_run("cycling.summarise", f"cells.test:{self.test.pk}"),
            status="reached",
            n_cycles=150,
            n_complete=148,
            q_ref_Ah=0.64,
            q_last_Ah=0.40,
            retention=0.625,
        )


def mode(name: str) -> Term:
    """Find a failure mode by the end of its key."""
    return Term.objects.get(key=f"mode.{name}")


def passivated(opened: Opened, *, confidence: str = "confirmed") -> list[Assigned]:
    """Judge passivation with an image and a phase for it."""
    return [
        Assigned(
            mode=mode("passivation"),
            role="root",
            confidence=confidence,
            severity=4,
            for_=[opened.image, opened.phase],
        )
    ]


def rooted(name: str, opened: Opened, *, confidence: str = "possible") -> list[Assigned]:
    """Judge a root that rests on one entry."""
    return [Assigned(mode=mode(name), role="root", confidence=confidence, for_=[opened.entry])]


__all__ = ["NOW", "Opened", "dt", "make_entry", "make_run", "mode", "passivated", "rooted"]
