"""What was found in a cell and can be pointed at, in groups, in a fixed number of questions."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.db import models

from teardown.cells.models import Cell
from teardown.dissection.models import Entry
from teardown.findings.models import Evidence, found_in
from teardown.findings.rules import OF_THING, kind_of_entry
from teardown.imaging.models import Review as ImageReview
from teardown.page.navigation import address
from teardown.page.typesetting import as_count, estimate_line, fraction_as_percent, number
from teardown.science.estimate import Estimate
from teardown.science.reliability.evidence import Kind
from teardown.vocabulary.models import Term

SMALL = "small"
"""Size of the picture of a photograph that stands beside what it shows."""

ELECTRODES = ("iron electrode", "air electrode")
ROUTINE = ("place", "policy", "titration_about", "timers", "cut", "close")
"""Cards that tell how the bench worked, not what the cell shows."""

QUANTITIES = {
    "porosity": "porosity",
    "oxide_fraction": "oxide fraction",
    "oxide_coverage": "oxide coverage",
    "oxide_thickness_um": "oxide thickness",
}


@dataclass(frozen=True, slots=True)
class Item:
    """One thing to point at: how the form refers to it, what it says, and what kind of evidence it is."""

    reference: str
    row: models.Model
    words: str
    detail: str
    kind: Kind
    href: str = ""
    picture: str = ""


@dataclass(frozen=True, slots=True)
class Group:
    """Things of one sort, under their heading; ``telling`` ones stand open, the others open at a touch."""

    heading: str
    items: tuple[Item, ...]
    telling: bool = True


def evidence_in(cell: Cell, *, curve: bool = True) -> tuple[Group, ...]:
    """Give everything that can be pointed at in a cell: current, not withdrawn, not rejected.

    Parameters
    ----------
    curve : bool
        False leaves the cycling history out, for those who are not to see it before the cell is closed.
    """
    groups = [
        *_bench(cell),
        Group("Photographs", tuple(_photographs(cell))),
        Group("Measured on sections", tuple(_sections(cell))),
        Group("Phases by diffraction", tuple(_phases(cell))),
        Group("Cycling", tuple(_cycling(cell)) if curve else ()),
        Group("Balance", tuple(_balance(cell)) if curve else ()),
    ]
    return tuple(group for group in groups if group.items)


def shown(evidence: Evidence) -> Item:
    """Say of a piece of evidence that is kept what it is."""
    kind, row = evidence.thing
    return SAYERS[kind](row)


def _bench(cell: Cell) -> list[Group]:
    """Group what was said at the bench by component; the two electrodes stand open."""
    components = dict(Term.objects.filter(kind="component").values_list("key", "words"))
    groups: dict[str, list[Item]] = {}
    for rows in _entries(cell):
        first = rows[0]
        of_term = components.get(str(first.term.data.get("component", "")), "the cell as a whole")
        heading = str(first.part.component) if first.part else of_term
        groups.setdefault(heading, []).append(_entry(first, places=len(rows)))
    place_of = {heading: place for place, heading in enumerate(ELECTRODES)}
    order = sorted(groups, key=lambda heading: (place_of.get(heading, len(ELECTRODES)), heading))
    return [Group(heading, tuple(groups[heading]), telling=heading in ELECTRODES) for heading in order]


def _entries(cell: Cell) -> list[list[Entry]]:
    """Give each different thing said once, with all the places it was said of; routine steps are left out."""
    rows = (
        found_in(cell, "entry")
        .current()
        .exclude(state__in=["not done", "cannot tell"])
        .exclude(term__data__kind__in=["moment", "text"])
        .exclude(term__data__card__in=ROUTINE)
        .select_related("term", "answer", "part__component")
        .order_by("pk")
    )
    same: dict[tuple[Any, ...], list[Entry]] = {}
    for row in rows:
        same.setdefault((row.term_id, row.part_id, row.said), []).append(row)
    return list(same.values())


def _entry(row: Entry, places: int = 1) -> Item:
    where = [str(row.part)] if row.part_id else []
    where += [as_count(places, "place")] if places > 1 else [row.place] if row.place else []
    return Item(
        f"entry:{row.pk}", row, f"{row.term}: {row.said}",
        ", ".join([*where, "transcribed"] if row.transcribed else where),
        kind_of_entry(row.term.key, row.term.data), address("entry", row.key),
    )  # fmt: skip


def _photographs(cell: Cell) -> list[Item]:
    return [_photograph(row) for row in found_in(cell, "photograph").evidence().with_labels()]


def _photograph(row: Any) -> Item:
    label = row.label
    minutes = row.minutes_since_opening
    detail = "" if minutes is None else f"{number(minutes, 0)} min after opening"
    words = (label.words if label else "") or "photograph without a label"
    picture = address("photograph_picture", row.key, SMALL)
    return Item(
        f"photograph:{row.pk}", row, words, detail, Kind.OBSERVATION, address("photograph", row.key), picture
    )


def _sections(cell: Cell) -> list[Item]:
    return _measures(cell, "sample_measure") or _measures(cell, "field_measure")


def _measures(cell: Cell, kind: str) -> list[Item]:
    """Give the latest result of each quantity and subject that nobody rejected."""
    rejected = ImageReview.objects.filter(verdict="reject").values("run")
    subject = "sample_id" if kind == "sample_measure" else "micrograph_id"
    rows = found_in(cell, kind).exclude(run__in=rejected).order_by("-pk")
    latest: dict[tuple[Any, ...], Any] = {}
    for row in rows:
        latest.setdefault((getattr(row, subject), getattr(row, "part_id", None), row.quantity), row)
    return [SAYERS[kind](row) for row in sorted(latest.values(), key=lambda row: (row.quantity, row.pk))]


def _measure(row: Any, kind: str) -> Item:
    found = Estimate(row.value, row.low, row.high, row.unit, row.n, row.method)
    name = QUANTITIES.get(row.quantity, row.quantity.replace("_", " "))
    said = estimate_line(found, percent=row.unit == "1")
    seen = getattr(row, "micrograph_id", None)
    href = address("micrograph", seen) if seen else ""
    picture = address("micrograph_thumbnail", seen) if seen else ""
    return Item(f"{kind}:{row.pk}", row, f"{name} {said}", row.method, Kind.IMAGE, href, picture)


def _phases(cell: Cell) -> list[Item]:
    """Give the fractions of the latest fit that nobody rejected."""
    rows = list(
        found_in(cell, "phase")
        .exclude(fit__reviews__verdict="reject")
        .order_by("-fit_id", "-weight_fraction")
    )
    return [_phase(row) for row in rows if row.fit_id == rows[0].fit_id]


def _phase(row: Any) -> Item:
    u = row.u or row.esd
    doubt = f" ± {number(100 * u, 1)} %" if u else ""
    less = "less than " if row.below_limit else ""
    words = (
        f"{row.phase.replace('-', ' ')} {less}{fraction_as_percent(row.weight_fraction, 1)}{doubt} by mass"
    )
    pattern = row.fit.pattern_id
    return Item(
        f"phase:{row.pk}", row, words, "", Kind.DIFFRACTION, address("pattern", pattern) if pattern else ""
    )


def _cycling(cell: Cell) -> list[Item]:
    row = found_in(cell, "test_summary").order_by("-pk").first()
    return [_summary(row)] if row else []


def _summary(row: Any) -> Item:
    parts = [as_count(row.n_complete, "complete cycle")]
    if row.retention is not None:
        parts.append(f"{fraction_as_percent(row.retention)} of the reference capacity left")
    if row.coulombic_efficiency is not None:
        parts.append(f"charge efficiency {fraction_as_percent(row.coulombic_efficiency)}")
    return Item(f"test_summary:{row.pk}", row, ", ".join(parts), row.status, Kind.CYCLING)


def _balance(cell: Cell) -> list[Item]:
    row = found_in(cell, "balance").select_related("cell").order_by("-pk").first()
    return [_balanced(row)] if row else []


def _balanced(row: Any) -> Item:
    found = [each["words"] for each in row.rows if each.get("kind") == "headline"]
    words = "; ".join(found) or "balance of the cell"
    return Item(f"balance:{row.pk}", row, words, "", OF_THING["balance"], address("balance", row.cell.code))


SAYERS: dict[str, Callable[[Any], Item]] = {
    "entry": _entry,
    "photograph": _photograph,
    "field_measure": lambda row: _measure(row, "field_measure"),
    "sample_measure": lambda row: _measure(row, "sample_measure"),
    "phase": _phase,
    "test_summary": _summary,
    "balance": _balanced,
}
