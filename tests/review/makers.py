"""Cells that have lived, made through the deeds of people where there are deeds; every value is invented."""

import datetime as dt
import io
import itertools
import random
from dataclasses import dataclass

import numpy as np
from django.utils import timezone
from PIL import Image

from teardown.accounts.models import User
from teardown.cells.models import Build, Cell, Test
from teardown.cycling.models import Curves, TestSummary
from teardown.diffraction.models import Fit, PhaseFraction
from teardown.dissection.actions.entries import amend, log_entry
from teardown.dissection.actions.opening import open_cell, start_dissection
from teardown.dissection.actions.photographs import add_photograph, label_photograph
from teardown.dissection.actions.samples import cut_sample
from teardown.dissection.models import Dissection, Sample
from teardown.files.models import Run
from teardown.files.store import keep
from teardown.findings.models import Evidence, Judgement, ModeAssignment
from teardown.imaging.models import Micrograph, SampleMeasure, SectionResult, Tie
from teardown.vocabulary.models import Term
from tests.makers import make_cell, make_test, make_user

_numbers = itertools.count(1)


def make_run(function: str = "imaging.sample") -> Run:
    """Make a run that is done."""
    return Run.objects.create(
        key=f"{next(_numbers):064}",
        function=function,
        function_version="1",
        subject="cells.cell:1",
        state=Run.State.DONE,
        progress=1,
        asked_at=timezone.now(),
        finished_at=timezone.now(),
    )


def make_history(
    test: Test, *, cycles: int = 180, knee: int = 120, peak_Ah: float = 0.62, seed: int = 1
) -> TestSummary:
    """Make the curves of a test and their summary: a rise, a plateau, a knee."""
    rng = random.Random(seed)
    i = np.arange(1, cycles + 1, dtype=float)
    noise = np.array([rng.gauss(0, 0.002) for _ in i])
    capacity = peak_Ah - 0.09 * np.exp(-i / 14) - 0.0001 * i - 0.0023 * np.clip(i - knee, 0, None) + noise
    efficiency = 0.935 - 0.0001 * i - 0.0006 * np.clip(i - knee, 0, None)
    columns = {
        "cycle": i,
        "discharge_Ah": capacity,
        "coulombic_efficiency": efficiency,
        "complete": np.ones_like(i),
    }
    run = make_run("cycling.summarise")
    blob = b"".join(values.astype("<f4").tobytes() for values in columns.values())
    Curves.objects.create(test=test, run=run, n=cycles, columns=list(columns), blob=blob)
    return TestSummary.objects.create(
        test=test,
        run=run,
        status="reached",
        n_cycles=cycles,
        n_complete=cycles,
        q_ref_Ah=peak_Ah,
        q_last_Ah=float(capacity[-1]),
        retention=float(capacity[-1]) / peak_Ah,
        utilisation_2e=0.56,
        knee_cycle=knee,
        knee_low=knee - 6,
        knee_high=knee + 6,
    )


def make_picture(shade: int = 90) -> bytes:
    """Make a small picture, another one each time."""
    n = next(_numbers)
    image = Image.new("RGB", (64, 48), (shade, (shade * n) % 255, n % 255))
    out = io.BytesIO()
    image.save(out, "PNG")
    return out.getvalue()


def make_dissection(cell: Cell, by: User, *, at: dt.datetime, photographs: int = 1) -> Dissection:
    """Open a cell: time zero, a few observations, one of them amended, photographs."""
    dissection = start_dissection(cell=cell, by=by, at=at)
    open_cell(dissection=dissection, by=by, at=at)
    log_entry(dissection=dissection, term="iron.colour", answer="green", place="A.M2", by=by, at=at)
    log_entry(dissection=dissection, term="iron.shed", state="absent", by=by, at=at)
    first = log_entry(
        dissection=dissection, term="iron.thickness_um", value="811", place="A.M2", by=by, at=at
    )
    amend(entry=first, by=by, reason="reason.misread", value="801", at=at)
    for n in range(photographs):
        photograph = add_photograph(
            file=make_picture(),
            by=by,
            dissection=dissection,
            name=f"p{n}.png",
            taken_at=at,
            minutes_since_opening=3.0 * n,
            size_px=(64, 48),
        )
        label_photograph(photograph=photograph, by=by, component="iron_electrode", frame="face A whole")
    return dissection


def make_measure(sample: Sample, quantity: str, value: float, half_width: float, n: int = 5) -> SampleMeasure:
    """Make a pooled measure of a sample."""
    return SampleMeasure.objects.create(
        run=make_run(),
        sample=sample,
        quantity=quantity,
        value=value,
        low=value - half_width,
        high=value + half_width,
        unit="1",
        n=n,
        method="mean of fields, Student t",
    )


def make_micrograph(sample: Sample, by: User) -> Micrograph:
    """Make a micrograph that is tied to a sample and has a result."""
    grey = np.random.default_rng(next(_numbers)).integers(0, 255, (400, 600)).astype(np.uint8)
    out = io.BytesIO()
    Image.fromarray(grey).save(out, "PNG")
    receipt = keep(out.getvalue(), by=by, name="section.png")
    micrograph = Micrograph.objects.create(receipt=receipt, width_px=600, height_px=400, bit_depth=8, by=by)
    Tie.objects.create(micrograph=micrograph, sample=sample, by=by)
    SectionResult.objects.create(micrograph=micrograph, run=make_run("imaging.section"))
    return micrograph


def make_judgement(
    cell: Cell,
    by: User,
    mode: str = "mode.passivation",
    *,
    confidence: str = "probable",
    evidence: SampleMeasure | None = None,
) -> Judgement:
    """Judge a cell: one root."""
    judgement = Judgement.objects.create(cell=cell, assessor=by)
    assignment = ModeAssignment.objects.create(
        judgement=judgement, mode=Term.objects.get(key=mode), role="root", confidence=confidence
    )
    if evidence is not None:
        Evidence.objects.create(assignment=assignment, side="for", sample_measure=evidence)
    return judgement


@dataclass(frozen=True)
class Story:
    """A cell with everything."""

    cell: Cell
    test: Test
    dissection: Dissection
    sample: Sample
    coverage: SampleMeasure
    by: User


def make_story(
    code: str = "",
    *,
    build: Build | None = None,
    coverage: float = 0.71,
    porosity: float = 0.455,
    seed: int = 1,
    photographs: int = 1,
) -> Story:
    """Make a cell that was built, cycled, opened, sampled, measured and judged."""
    by = make_user("bench", "analyst", "lead")
    cell = make_cell(code, build=build)
    test = make_test(cell, end="capacity_limit")
    make_history(test, knee=90 + 10 * (seed % 7), seed=seed)
    assert test.ended_at is not None
    opened = test.ended_at + dt.timedelta(hours=9)
    dissection = make_dissection(cell, by, at=opened, photographs=photographs)
    sample = cut_sample(
        dissection=dissection, component="iron_electrode", place="A.M2", by=by, at=opened, purpose="section"
    )
    measured = make_measure(sample, "oxide_coverage", coverage, 0.05)
    make_measure(sample, "porosity", porosity, 0.034)
    make_measure(sample, "bright_fraction", 0.02, 0.01)
    make_micrograph(sample, by)
    fit = Fit.objects.create(sample=sample, run=make_run("diffraction.external"), source="refined outside")
    PhaseFraction.objects.create(fit=fit, phase="iron", weight_fraction=0.62, esd=0.006, u=0.02)
    PhaseFraction.objects.create(fit=fit, phase="magnetite", weight_fraction=0.38, esd=0.006, u=0.02)
    make_judgement(cell, by, evidence=measured)
    return Story(cell, test, dissection, sample, measured, by)
