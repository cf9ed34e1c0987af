"""What one page shows of a recipe, a test, an import."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.utils import timezone

from teardown.cells.intake import KINDS
from teardown.cells.models import Build, Cell, Chamber, Channel, Material, Recipe, RecipePart, Seat, Test
from teardown.cells.rules import amount_words, differences, in_order
from teardown.files.models import Delivery
from teardown.page.typesetting import as_count


@dataclass(frozen=True, slots=True)
class PartLine:
    """A material of a revision, its amount in words."""

    role: str
    material: Material
    amount: str


@dataclass(frozen=True, slots=True)
class RevisionPart:
    """One revision: what is in it, what it changed, what was built of it."""

    revision: Any
    parts: list[PartLine]
    changes: list[str]
    builds: list[Build]


@dataclass(frozen=True, slots=True)
class RecipePage:
    """A recipe with its revisions, newest first."""

    recipe: Recipe
    sentence: str
    revisions: list[RevisionPart]


def recipe_page(recipe: Recipe) -> RecipePage:
    """Gather a recipe: revisions with differences, builds with their cells."""
    revisions = list(recipe.revisions.order_by("number").prefetch_related("parts__material", "builds__cells"))
    found: list[RevisionPart] = []
    before: list[RecipePart] | None = None
    for revision in revisions:
        parts = list(revision.parts.all())
        changes: list[str] = differences(_plain(before), _plain(parts)) if before is not None else []
        found.append(
            RevisionPart(
                revision,
                [PartLine(p.get_role_display(), p.material, amount_words(_part(p))) for p in parts],
                changes,
                list(revision.builds.all()),
            )
        )
        before = parts
    cells = sum(len(build.cells.all()) for one in found for build in one.builds)
    sentence = (
        f"{recipe.title}: {as_count(len(revisions), 'revision')}, "
        f"{as_count(sum(len(one.builds) for one in found), 'build')}, {as_count(cells, 'cell')}."
    )
    return RecipePage(recipe, sentence, found[::-1])


def _part(part: RecipePart) -> dict[str, Any]:
    return {
        "role": part.role,
        "material": part.material.name,
        "amount": part.amount,
        "unit": part.unit,
        "basis": part.basis,
    }


def _plain(parts: Sequence[RecipePart]) -> list[dict[str, Any]]:
    return [_part(part) for part in parts]


@dataclass(frozen=True, slots=True)
class TestPage:
    """A test: where it sat, how far its channel may be off, how it ended."""

    test: Test
    sentence: str
    seats: list[Seat]
    accuracies: list[Any]


def test_page(test: Test) -> TestPage:
    """Gather a test."""
    seats = list(test.seats.select_related("position__chamber", "channel"))
    channels = {seat.channel_id for seat in seats if seat.channel_id}
    accuracies = [
        accuracy
        for channel in Channel.objects.filter(pk__in=channels).prefetch_related("accuracies")
        for accuracy in channel.accuracies.all()
    ]
    days = ((test.ended_at or timezone.now()) - test.started_at).days
    if test.ended_at is None:
        sentence = f"{test.cell} has run to protocol {test.protocol} for {as_count(days, 'day')}."
    else:
        censored = bool(test.end and test.end.data.get("censors"))
        sentence = (
            f"{test.cell} ran to protocol {test.protocol} for {as_count(days, 'day')} and ended by {test.end}"
            f"{': no failure, so the test is censored' if censored else ''}."
        )
    return TestPage(test, sentence, seats, accuracies)


test_page.__test__ = False  # type: ignore[attr-defined]


@dataclass(frozen=True, slots=True)
class Shown:
    """A step of an import as its preview shows it."""

    rows: str
    code: str
    does: str
    values: list[str]
    notes: list[str]


@dataclass(frozen=True, slots=True)
class ImportPage:
    """An import: how it was read, what it would do or did, what it refused."""

    delivery: Delivery
    sentence: str
    how: list[tuple[str, str]]
    heads: list[str]
    steps: list[Shown]
    refused_rows: int


def import_page(delivery: Delivery) -> ImportPage:
    """Gather an import for its preview."""
    refused = len({one["row"] for one in delivery.refusals})
    understood = sum(len(step["rows"]) for step in delivery.planned)
    how = delivery.column_map
    columns = how.get("columns", {})
    named = {head: column for head, column in columns.items() if column["key"] != "cell"}
    keys = [column["key"] for column in named.values()]
    kinds = {c.key: c.kind for c in KINDS[delivery.kind].columns}
    return ImportPage(
        delivery,
        _sentence(delivery, understood, refused),
        [
            ("file", delivery.receipt.name),
            (
                "read as",
                ", ".join(filter(None, (how.get("encoding"), how.get("delimiter"), how.get("sheet")))),
            ),
            *((head, _read_as(column, kinds)) for head, column in columns.items()),
        ],
        list(named) if delivery.kind == "cells.cells" else [],
        [_shown(step, keys) for step in delivery.planned],
        refused,
    )


def _sentence(delivery: Delivery, understood: int, refused: int) -> str:
    words = KINDS[delivery.kind].words
    rows = as_count(understood + refused, "row")
    read = f"{understood} of {rows} of {words} understood" + (f", {refused} refused" if refused else "")
    ends = {
        Delivery.State.SHOWN: f"{read}; nothing is written yet.",
        Delivery.State.APPLIED: f"{read}; what was understood is in the books.",
        Delivery.State.WITHDRAWN: f"{read}; withdrawn since.",
    }
    return ends[Delivery.State(delivery.state)]


def _read_as(column: dict[str, str], kinds: dict[str, str]) -> str:
    if column["unit"]:
        return "as a fraction" if column["unit"] == "1" else f"in {column['unit']}"
    kind = kinds.get(column["key"], "text")
    return {"text": "as words", "name": "as a name", "whole": "as a whole number"}.get(kind, f"as a {kind}")


def _shown(step: dict[str, Any], keys: Sequence[str]) -> Shown:
    numbers = step["rows"]
    rows = str(numbers[0]) if len(numbers) == 1 else f"{numbers[0]} to {numbers[-1]}"
    shown = step.get("shown") or {}
    values = [shown.get(key, "") for key in keys] if shown else []
    if parts := step["values"].get("parts"):
        values = [f"{part['role']}: {part['material']}, {amount_words(part)}" for part in parts]
    return Shown(rows, step["code"], step["does"], values, step["notes"])


def chambers_page() -> tuple[list[tuple[Any, list[tuple[Any, Any]]]], list[Any]]:
    """Give chambers with their places and who sits there, and channels with their accuracies."""
    sitting = {
        seat.position_id: seat
        for seat in Seat.objects.filter(until=None).select_related("test__cell", "channel")
    }
    chambers = [
        (
            chamber,
            [(p, sitting.get(p.pk)) for p in sorted(chamber.positions.all(), key=lambda p: in_order(p.name))],
        )
        for chamber in Chamber.objects.prefetch_related("positions")
    ]
    channels = Channel.objects.prefetch_related("accuracies")
    return chambers, sorted(channels, key=lambda channel: in_order(channel.name))


def build_cells(build: Build) -> list[Cell]:
    """Give the cells of a build in order."""
    return list(build.cells.select_related("twin_of", "air_electrode_lot__material").order_by("code"))
