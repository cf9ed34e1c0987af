"""Chosen cells side by side: the same axes, the same kind of picture, the same numbers."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from teardown.cells.models import Cell
from teardown.page.figures import Figure, on_common_axes
from teardown.page.typesetting import as_count, in_words
from teardown.review.dossier.cell import SectionImage, sections_of
from teardown.review.dossier.cells import CellRow, rows_of
from teardown.review.dossier.history import capacity_figure, histories_of
from teardown.review.dossier.opened import Picture, pictures_of

MOST = 24
ORDERS = {
    "chosen": "as chosen",
    "coverage": "by coverage",
    "porosity": "by porosity",
    "retention": "by retention",
    "mode": "by mode",
}


@dataclass(frozen=True, slots=True)
class Beside:
    """One cell in the view."""

    row: CellRow
    figure: Figure | None
    picture: Picture | None
    section: SectionImage | None


@dataclass(frozen=True, slots=True)
class BesidePage:
    """The whole view."""

    cells: tuple[Beside, ...]
    missing: tuple[str, ...]
    left_out: int
    order: str
    recipes_shown: bool
    query: str

    @property
    def missing_words(self) -> str:
        """List the codes that were not found."""
        return f"{', '.join(self.missing)}. Check the code on the label."

    @property
    def sentence(self) -> str:
        """Say what stands here."""
        count = len(self.cells)
        if not count:
            return "No cell is chosen yet. Type codes, or choose cells in the list and come back with them."
        number = in_words(count)
        recipes = (
            "Recipes shown."
            if self.recipes_shown
            else "Recipes hidden, so that judgement comes before knowledge."
        )
        rest = (
            f" {as_count(self.left_out, 'more was', 'more were')} left out: {MOST} stand here at most."
            if self.left_out
            else ""
        )
        words = (
            f"{number[0].upper()}{number[1:]} {'cell' if count == 1 else 'cells'}, capacity on the same axes."
        )
        return f"{words} {recipes}{rest}"


def beside_page(
    codes: Sequence[str], *, user: Any, order: str, recipes_shown: bool, query: str
) -> BesidePage:
    """Collect the chosen cells that this person may see, in the asked order."""
    wanted = list(dict.fromkeys(codes))
    known = {c.code: c.pk for c in Cell.objects.visible_to(user).filter(code__in=wanted)}
    keys = [known[code] for code in wanted if code in known][:MOST]
    rows = {row.cell.pk: row for row in rows_of(Cell.objects.filter(pk__in=keys), user)}
    histories, pictures, sections = histories_of(keys), pictures_of(keys), sections_of(keys)
    figures = {
        k: f
        for k in keys
        if k in histories
        and not rows[k].blind
        and (f := capacity_figure(rows[k].cell.code, histories[k], small=True))
    }
    alike = dict(zip(figures, on_common_axes(list(figures.values())), strict=True))
    shown = [
        Beside(
            rows[k],
            alike.get(k),
            next((p for p in pictures.get(k, []) if p.face), next(iter(pictures.get(k, [])), None)),
            next(iter(sections.get(k, [])), None),
        )
        for k in keys
    ]
    missing = tuple(code for code in wanted if code not in known)
    left_out = max(0, len(wanted) - len(missing) - MOST)
    return BesidePage(tuple(_ordered(shown, order)), missing, left_out, order, recipes_shown, query)


def _ordered(shown: list[Beside], order: str) -> list[Beside]:
    """Order the rows; what lacks the value comes last."""

    def value(item: Beside) -> float | None:
        if order == "retention":
            return float(item.row.cell.retention) if item.row.cell.retention is not None else None
        measure = item.row.coverage if order == "coverage" else item.row.porosity
        return measure.estimate.value if measure else None

    if order == "mode":
        return sorted(shown, key=lambda item: (not item.row.standing.words, item.row.standing.words))
    if order not in ORDERS or order == "chosen":
        return shown
    return sorted(shown, key=lambda item: (value(item) is None, -(value(item) or 0)))
