"""Keeps the folded words by which a cell is found."""

from collections.abc import Iterable

from teardown.cells.models import Build, Cell, RecipePart
from teardown.cells.rules import fold


def words_of(build: Build) -> str:
    """Give the words that every cell of a build is found by: recipe, title, materials, lots."""
    revision = build.revision
    parts = RecipePart.objects.filter(revision=revision).values_list("material__name", "material__formula")
    lots = build.lot_uses.values_list("lot__code", flat=True)
    return " ".join(
        [
            build.code,
            build.note,
            revision.recipe.code,
            revision.recipe.title,
            *(word for pair in parts for word in pair),
            *lots,
        ]
    )


def refresh_search_text(cells: Iterable[Cell]) -> None:
    """Write the folded words of cells anew."""
    known: dict[int, str] = {}
    changed = []
    for cell in cells:
        if cell.build_id not in known:
            known[cell.build_id] = words_of(cell.build)
        former = cell.former_codes.values_list("code", flat=True) if cell.pk else []
        cell.search_text = fold(cell.code, *former, known[cell.build_id], cell.note)
        changed.append(cell)
    Cell.objects.bulk_update(changed, ["search_text"], batch_size=200)
