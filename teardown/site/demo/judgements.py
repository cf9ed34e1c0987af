"""Tells how results were looked at and cells judged, once the worker has measured them.

What people accept and judge rests on numbers that the application itself measured, so this part of the
telling waits for them. It goes on where it stopped, however often it is stopped.
"""

import datetime as dt
from collections.abc import Iterable
from typing import Any

from django.db import models

from teardown.accounts.models import User
from teardown.cells.models import Cell
from teardown.cycling.models import TestSummary
from teardown.diffraction.actions import review as review_fit
from teardown.diffraction.models import Fit, PhaseFraction
from teardown.dissection import actions as bench
from teardown.dissection.models import Dissection, Entry
from teardown.dissection.models.closing import open_points
from teardown.files.models import Run
from teardown.findings.actions import Assigned, ask_balance, decide, judge
from teardown.findings.models import Judgement
from teardown.imaging.actions import review as review_section
from teardown.imaging.models import FieldMeasure, Micrograph
from teardown.imaging.runs import standing
from teardown.records.rules import subject_of
from teardown.science.reliability.evidence import RANK, Confidence, grounds_of
from teardown.site.demo import counts
from teardown.site.demo.clock import Clock
from teardown.site.demo.lab import Lab
from teardown.site.demo.lives import Story
from teardown.site.demo.openings import hands
from teardown.vocabulary.models import Term

# what speaks for a mode: terms of the bench, measures of the section, phases, and whether the curve does
SPEAKS: dict[str, tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...], bool]] = {
    "passivation": (("iron.film_green", "iron.cover"), ("oxide_coverage",), ("iron-hydroxide",), True),
    "pore_closure": (("iron.texture", "iron.shape"), ("porosity",), ("iron",), True),
    "unreduced_oxide": (
        ("iron.cover", "iron.shape"),
        ("oxide_fraction",),
        ("magnetite", "iron-hydroxide"),
        True,
    ),
    "additive_depletion": (("iron.cover",), ("oxide_coverage",), (), True),
    "shedding": (("iron.shed", "sediment.mass_mg", "separator.deposit"), ("porosity",), (), True),
    "hydrogen": (("separator.gas", "opening.bubbling"), (), (), True),
    "flooding": (("air.gas_side",), (), (), True),
    "carbon_corrosion": (("electrolyte.colour", "air.wet_side"), (), (), True),
    "carbonate_blocking": (("air.crust", "titration.second_mL"), (), (), True),
    "contact_loss": (("tab.look", "collector.look"), (), (), True),
    "leak": (("seal.look", "leak.seal", "mass.received_g"), (), (), False),
    "short": (("separator.growth", "separator.state", "electrical.rest_V"), (), (), True),
    "lead_off": ((), (), (), True),
}
TAKEN_FOR = {  # what the second assessor may take it for
    "passivation": "additive_depletion", "additive_depletion": "passivation", "pore_closure": "passivation",
    "unreduced_oxide": "passivation", "shedding": "contact_loss", "flooding": "carbonate_blocking",
}  # fmt: skip
ACCOUNTS = {
    "passivation": "Rim on nearly every grain, bright metal inside; loss came with the rate.",
    "pore_closure": "Dense skin and hardly a pore left beneath it.",
    "unreduced_oxide": "Oxide right through the grains, although it was charged to the end.",
    "shedding": "Iron lies in the separator and at the bottom, the mesh is bare at the foot.",
}


def ready(story: Story) -> bool:
    """Tell whether everything that was asked of a cell has been computed, or has failed."""
    return not pending(story).exists()


def pending(story: Story) -> models.QuerySet[Run]:
    """Give the runs of a cell that still wait or run."""
    cell = Cell.objects.get(code=story.code)
    subjects = [subject_of(cell), *map(subject_of, cell.tests.all())]
    subjects += [subject_of(row) for row in (*_micrographs(cell), *_samples(cell))]
    subjects += [f"diffraction.pattern:{pk}" for pk in _patterns(cell)]
    return Run.objects.filter(subject__in=subjects, state__in=[Run.State.QUEUED, Run.State.RUNNING])


def _samples(cell: Cell) -> list[Any]:
    from teardown.dissection.models import Sample

    return list(Sample.objects.filter(part__dissection__cell=cell))


def _patterns(cell: Cell) -> list[int]:
    from teardown.diffraction.models import Pattern

    return list(Pattern.objects.filter(sample__part__dissection__cell=cell).values_list("pk", flat=True))


def _micrographs(cell: Cell) -> list[Micrograph]:
    return list(
        Micrograph.objects.filter(ties__sample__part__dissection__cell=cell).distinct().order_by("pk")
    )


def accept(lab: Lab, story: Story, clock: Clock) -> None:
    """Tell who looked at the measurements of a cell and took or refused them."""
    assert story.opened is not None
    cell, chance = Cell.objects.get(code=story.code), story.rng("accept")
    clock.set(story.opened + dt.timedelta(days=13))
    results, taken = standing(_micrographs(cell)), []
    for result in results.values():
        flags = [flag for flag in result.flags if flag.get("level") == "error"]
        if flags or chance.random() < 0.04:
            reason = flags[0]["message"] if flags else "Drawn over a polishing scratch; take another field."
            review_section(result=result, verdict="reject", reason=reason, by=lab.people["microscopist"])
        elif chance.random() < 0.94:
            review_section(result=result, verdict="accept", by=lab.people["microscopist"])
            taken.append(result)
    if taken and counts.counted(story):
        counts.count(lab, story, taken[0])
    for fit in Fit.objects.filter(
        models.Q(sample__part__dissection__cell=cell) | models.Q(pattern__sample__part__dissection__cell=cell)
    ):
        if fit.reviews.exists():
            continue
        reason = "Checked against the pattern by eye; the remark is known." if fit.flags else ""
        review_fit(fit=fit, verdict="accept", by=lab.people["analyst"], reason=reason)
    ask_balance(cell=cell, by=lab.people["analyst"])


def judge_cell(lab: Lab, story: Story, clock: Clock) -> None:
    """Tell of two people who judged a cell without seeing each other's reading, and what was decided."""
    assert story.opened is not None
    cell, chance = Cell.objects.get(code=story.code), story.rng("judge")
    clock.set(story.opened + dt.timedelta(days=20, hours=4))
    modes = _reading(story)
    judge(
        cell=cell,
        assigned=_assigned(cell, modes),
        by=lab.people["analyst"],
        note=ACCOUNTS.get(story.root, ""),
    )
    if chance.random() < 0.75:
        clock.set(story.opened + dt.timedelta(days=22, hours=6))
        differs = chance.random() < 0.28 and story.root in TAKEN_FOR
        other = [(TAKEN_FOR[story.root], "root")] if differs else modes[:1]
        judge(cell=cell, assigned=_assigned(cell, other), by=lab.people["reviewer"])
        if story.stage == "closed" and differs:
            clock.set(story.opened + dt.timedelta(days=30))
            outcome = Judgement.objects.standing().get(cell=cell, assessor=lab.people["analyst"])
            decide(
                cell=cell, outcome=outcome, by=lab.people["lead"],
                reason="Read together over the section: the first reading explains the curve as well.",
            )  # fmt: skip


def _reading(story: Story) -> list[tuple[str, str]]:
    """Say which modes a careful person finds: mostly the true ones."""
    if story.censored and story.severity < 0.45 and story.end != "lab_fault":
        return [("no_fault", "root")]
    return [
        (story.root, "root"),
        *((mode, "contributing") for mode in story.contributing[:1] if mode in SPEAKS),
    ]


def _assigned(cell: Cell, modes: Iterable[tuple[str, str]]) -> list[Assigned]:
    given = []
    for mode, role in modes:
        term = Term.objects.get(key=f"mode.{mode}")
        if mode == "no_fault":
            given.append(Assigned(term, role, "probable"))
            continue
        for_ = evidence_of(cell, mode)
        if not for_ and role != "root":
            continue
        if not for_:
            why = "Evidence is missing: nothing was photographed or measured that tells."
            given.append(Assigned(Term.objects.get(key="mode.undetermined"), role, "undetermined", words=why))
            continue
        draft = Assigned(term, role, "possible", for_=for_)
        highest = grounds_of(draft.claim().pieces).highest
        grade = (
            highest if RANK[highest] <= RANK[Confidence.PROBABLE] or len(for_) >= 4 else Confidence.PROBABLE
        )
        severity = 4 if role == "root" else 2
        given.append(Assigned(term, role, str(grade), severity=severity, for_=for_))
    return given


def evidence_of(cell: Cell, mode: str) -> list[models.Model]:
    """Find in the record of a cell what speaks for a mode."""
    terms, quantities, phases, curve = SPEAKS[mode]
    rows: list[models.Model] = []
    for term in terms:
        entry = (
            Entry.objects.current()
            .filter(dissection__cell=cell, term__key=term)
            .exclude(state__in=[Entry.State.ABSENT, Entry.State.CANNOT_TELL])
            .select_related("term")
            .first()
        )
        rows += [entry] if entry else []
    for quantity in quantities:
        measure = FieldMeasure.objects.filter(micrograph__in=_micrographs(cell), quantity=quantity).last()
        rows += [measure] if measure else []
    of_cell = models.Q(fit__sample__part__dissection__cell=cell) | models.Q(
        fit__pattern__sample__part__dissection__cell=cell
    )
    for phase in phases:
        fraction = PhaseFraction.objects.filter(of_cell, phase=phase).last()
        rows += [fraction] if fraction else []
    summary = TestSummary.objects.filter(test__cell=cell).first() if curve else None
    return rows + ([summary] if summary else [])


def close(lab: Lab, story: Story, clock: Clock) -> None:
    """Tell of the signature that closed a dissection, its review, and now and then a late amendment."""
    assert story.opened is not None
    hand, other = hands(lab, story)
    dissection, chance = Dissection.objects.get(cell__code=story.code), story.rng("close")
    clock.set(story.opened + dt.timedelta(days=34, hours=1))
    asked = any(point.asks for point in open_points(dissection))
    answer = "About a gram stayed in the tissue, which was not weighed." if asked else ""
    bench.close(dissection=dissection, by=hand, answer=answer)
    if chance.random() < 0.6:
        clock.set(story.opened + dt.timedelta(days=40))
        bench.review(dissection=dissection, by=lab.people["reviewer"])
    if chance.random() < 0.1:
        _amend_late(dissection, other, lab.people["reviewer"], clock, story)


def _amend_late(dissection: Dissection, other: User, reviewer: User, clock: Clock, story: Story) -> None:
    assert story.opened is not None
    clock.set(story.opened + dt.timedelta(days=52))
    entry = dissection.entries.current().filter(term__key="iron.cover").exclude(extent="").first()
    if entry is None:
        return
    bench.amend(
        entry=entry,
        by=other,
        reason="late_sample",
        reason_text="Seen again on the archive piece.",
        extent="some",
    )
    if story.rng("acknowledge").random() < 0.5:
        clock.set(story.opened + dt.timedelta(days=55))
        bench.acknowledge(dissection=dissection, by=reviewer)
