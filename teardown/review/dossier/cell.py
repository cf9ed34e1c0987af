"""The whole story of one cell, read from top to bottom as time runs."""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.db.models import Max

from teardown.accounts.roles import may
from teardown.cells.models import Cell, FormerCode, RecipePart, Seat
from teardown.dissection.models import Entry
from teardown.findings.dossier.balance import Shown as ShownBalance
from teardown.findings.dossier.balance import balance_of
from teardown.findings.dossier.judging import Judgements, judgements_of
from teardown.imaging.models import Micrograph, Review, SectionResult, Tie
from teardown.imaging.rules import by_a_person
from teardown.imaging.runs import standing as standing_results
from teardown.imaging.runs import verdicts_on
from teardown.page.figures import Figure
from teardown.page.navigation import address
from teardown.page.typesetting import as_count, moment, number, plus_minus, short_day, with_unit
from teardown.records.models import Record
from teardown.records.rules import subject_of
from teardown.review.dossier import words
from teardown.review.dossier.controls import Beside, beside_controls
from teardown.review.dossier.history import History, capacity_figure, caption, histories_of, summing_up
from teardown.review.dossier.marks import ShownMark, marks_of
from teardown.review.dossier.measures import ShownFit, ShownMeasure, fits_of, measures_of, ties_of
from teardown.review.dossier.opened import Opened, opened_of
from teardown.review.dossier.verdicts import Standing, standing_of
from teardown.review.models import STATES, key_of, samples_of, with_factors, with_states


@dataclass(frozen=True, slots=True)
class Step:
    """One state on the strip."""

    word: str
    note: str
    anchor: str
    stand: str


@dataclass(frozen=True, slots=True)
class SectionImage:
    """A micrograph with the classes that were found on it."""

    pk: int
    src: str
    overlay: str
    href: str
    words: str
    status: str
    marked: str
    bright: bool = False
    by_hand: str = ""


@dataclass(frozen=True, slots=True)
class CellPage:
    """Everything the page shows."""

    cell: Cell
    sentence: str
    facts: tuple[tuple[str, str, str], ...]
    steps: tuple[Step, ...]
    history: History | None
    capacity: Figure | None
    capacity_caption: str
    measures: tuple[ShownMeasure, ...]
    sections: tuple[SectionImage, ...]
    fits: tuple[ShownFit, ...]
    opened: Opened | None
    balance: ShownBalance
    marks: tuple[ShownMark, ...]
    standing: Standing
    judgements: Judgements
    last_record: int
    recipe_shown: bool
    blind: bool
    former: tuple[FormerCode, ...] = ()
    may_recode: bool = False
    computing: str = ""
    beside: Beside | None = None

    @property
    def others(self) -> list[ShownMeasure]:
        """Give the measures that do not stand large."""
        return [m for m in self.measures if not m.headline]


def cell_page(code: str, *, user: Any, now: dt.datetime) -> CellPage:
    """Collect the story of a cell that this person may see.

    Raises
    ------
    Cell.DoesNotExist
        If there is no such cell, or it is not theirs to see.
    """
    cells = Cell.objects.visible_to(user).select_related(
        "build__revision__recipe", "air_electrode_lot__material", "twin_of"
    )
    cell = with_states(with_factors(cells)).get(code=code)
    history = histories_of([cell.pk]).get(cell.pk)
    opened = opened_of(cell)
    measures = tuple(measures_of([cell.pk]).get(cell.pk, {}).values())
    fits = tuple(fits_of(cell.pk))
    standing = standing_of([cell.pk], user)[cell.pk]
    opened_at = _time_zero(cell)
    blind = not may(user, "recipes.see") and cell.closed_at is None and not (opened and opened.unblinded)
    parts = list(RecipePart.objects.filter(revision=cell.build.revision_id).select_related("material"))
    return CellPage(
        cell=cell,
        sentence=words.opening(
            parts,
            history.test if history else None,
            cell=cell,
            cycles=history.summary.n_complete if history and history.summary else None,
            opened_at=opened_at,
            now=now,
            amounts=not blind,
        ),
        facts=tuple(_facts(cell, history, standing, blind=blind)),
        steps=tuple(strip(cell, history, opened, opened_at, measures, fits, standing)),
        history=history,
        capacity=capacity_figure(cell.code, history) if history and not blind else None,
        capacity_caption=caption(history) if history and not blind else "",
        measures=measures,
        sections=tuple(sections_of([cell.pk]).get(cell.pk, [])),
        fits=fits,
        opened=opened,
        balance=balance_of(cell),
        marks=tuple(marks_of(cell)),
        standing=standing,
        judgements=judgements_of(cell, user),
        last_record=Record.objects.filter(subject=subject_of(cell)).aggregate(last=Max("seq"))["last"] or 0,
        recipe_shown=may(user, "recipes.see"),
        blind=blind,
        former=tuple(cell.former_codes.select_related("by")),
        may_recode=may(user, "codes.mend"),
        beside=None if blind else beside_controls(cell, opened, measures, user),
        computing=summing_up(history.test) if history and not history.columns else "",
    )


def _time_zero(cell: Cell) -> dt.datetime | None:
    entries = Entry.objects.current().filter(dissection__cell=cell, term__key="opening.opened")
    return entries.order_by("-pk").values_list("observed_at", flat=True).first()


def _facts(
    cell: Cell, history: History | None, standing: Standing, *, blind: bool
) -> Iterator[tuple[str, str, str]]:
    yield "recipe", str(cell.build.revision), address("recipe", cell.build.revision.recipe.code)
    if cell.iron_mass_g is not None:
        iron = with_unit(number(cell.iron_mass_g), "g")
        if cell.iron_mass_u_g:
            iron = plus_minus(cell.iron_mass_g, 2 * cell.iron_mass_u_g, "g")
        yield "iron", iron, ""
    if history:
        seat = (
            Seat.objects.filter(test=history.test)
            .select_related("position__chamber")
            .order_by("-since")
            .first()
        )
        if seat:
            yield "chamber", str(seat.position), ""
    if not blind:
        mates = list(
            Cell.objects.filter(build=cell.build_id).exclude(pk=cell.pk).values_list("code", flat=True)[:9]
        )
        shown = ", ".join(mates[:2]) + (f" and {len(mates) - 2} more" if len(mates) > 2 else "")
        yield (
            "of the same build",
            shown or "none",
            f"{address('cells')}?build={cell.build.code}" if mates else "",
        )
    if history and history.summary and history.summary.utilisation_2e is not None and not blind:
        yield "utilisation at peak", number(history.summary.utilisation_2e, 2), ""
    judged = bool(standing.judgements or standing.hidden)
    yield "judged", standing.asks if judged else "not yet", "#judged" if judged else ""


def strip(
    cell: Cell,
    history: History | None,
    opened: Opened | None,
    opened_at: dt.datetime | None,
    measures: tuple[ShownMeasure, ...],
    fits: tuple[ShownFit, ...],
    standing: Standing,
) -> list[Step]:
    """Set the strip: ink where done, accent where it stands, pale where not yet; each leads to its part."""
    test = history.test if history else None
    samples = len(opened.samples) if opened else 0
    proposed = sum(m.status == "proposed" for m in measures) + sum(f.status == "proposed" for f in fits)
    count = len(measures) + len(fits)
    notes = {
        "built": short_day(cell.build.built_on, year=True),
        "on test": short_day(test.started_at, year=True) if test else "",
        "ended": moment(test.ended_at) if test and test.ended_at else "",
        "opened": moment(opened_at) if opened_at else "",
        "sampled": as_count(samples, "piece") if samples else "",
        "measured": f"{count - proposed} of {count} accepted" if proposed else as_count(count, "result"),
        "judged": standing.asks,
        "closed": short_day(cell.closed_at, year=True) if cell.closed_at else "",
    }
    anchors = {"built": "history", "on test": "history", "ended": "history", "closed": "amendments"}
    done = [getattr(cell, key_of(s)) for s in STATES]
    furthest = max(i for i, is_done in enumerate(done) if is_done)
    steps = []
    for i, state in enumerate(STATES):
        stand = "ahead" if not done[i] else "here" if i == furthest and state != "closed" else "done"
        skipped = "none" if not done[i] and i < furthest else "not yet"
        steps.append(
            Step(
                state,
                notes[state] if done[i] else skipped,
                anchors.get(state, state) if done[i] else "",
                stand,
            )
        )
    return steps


def sections_of(cells: list[int]) -> dict[int, list[SectionImage]]:
    """Give the micrographs of each cell with their classes, accepted ones first."""
    ties = ties_of(samples_of(cells))
    rows = list(Micrograph.objects.filter(pk__in=ties, kind=Micrograph.Kind.SECTION))
    results = standing_results(rows)
    verdicts = verdicts_on(result.run_id for result in results.values())
    found: dict[int, list[SectionImage]] = {}
    for row in rows:
        cell, tie = ties[row.pk]
        result = results.get(row.pk)
        accepted = result is not None and verdicts.get(result.run_id) == Review.Verdict.ACCEPT
        status = "accepted" if accepted else "proposed" if result else "not measured"
        found.setdefault(cell, []).append(_section(row, tie, result, status))
    order = ["accepted", "proposed", "not measured"]
    return {cell: sorted(images, key=lambda i: order.index(i.status)) for cell, images in found.items()}


def _section(row: Micrograph, tie: Tie, result: SectionResult | None, status: str) -> SectionImage:
    sample = tie.sample
    parts = [f"sample {sample}" if sample else "", sample.place if sample else "", str(tie.section or "")]
    age = sample.minutes_since_opening if sample else None
    return SectionImage(
        row.pk,
        address("micrograph_picture", row.pk),
        address("micrograph_overlay", row.pk) if result and result.class_map_id else "",
        address("micrograph", row.pk),
        ", ".join(filter(None, parts)) + (f"; {number(age, 0)} min in air" if age is not None else ""),
        status,
        address("marks", "micrograph", row.pk),
        bright=result is not None and result.levels.get("bright") is not None,
        by_hand=by_a_person([result.levels.get("source", "")]) if result else "",
    )
