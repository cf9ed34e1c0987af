"""What the rows of a table of cells mean: one row for each cell as built."""

from collections import Counter
from collections.abc import Sequence
from typing import Any

from teardown.cells.intake.cell_columns import COLUMNS, LOTS
from teardown.cells.intake.reading import ReadRow, Step
from teardown.cells.models import Build, Cell, Recipe
from teardown.cells.rules import fold
from teardown.formats.tables import RefusedRow

NOT_AS_BUILT = {"cell", "build", "built_on", "recipe", "revision", "time_zero", "twin_of", "note"}


def plan(rows: Sequence[ReadRow]) -> tuple[list[Step], list[RefusedRow]]:
    """Plan what each row would become: a new cell, perhaps with a new build, or the same as it is."""
    books = _Books(rows)
    refused: list[RefusedRow] = []
    steps = []
    for row in rows:
        if row.faults:
            continue
        faults = books.faults(row)
        if faults:
            refused += [RefusedRow(row.number, key, str(row[key] or ""), said) for key, said in faults]
        else:
            steps.append(books.step(row))
    return _without_lost_twins(steps, refused, books)


def _without_lost_twins(
    steps: list[Step], refused: list[RefusedRow], books: "_Books"
) -> tuple[list[Step], list[RefusedRow]]:
    """Refuse cells whose twin is in the file but refused, until none is left."""
    while True:
        coming = {step.code for step in steps} | set(books.cells)
        lost = [step for step in steps if step.values["twin_of"] and step.values["twin_of"] not in coming]
        if not lost:
            return steps, refused
        for step in lost:
            twin = step.values["twin_of"]
            refused.append(RefusedRow(step.rows[0], "twin_of", twin, f"Its twin {twin} is refused."))
        steps = [step for step in steps if step not in lost]


class _Books:
    """What is in the books already of what a table names: looked up once, not row by row."""

    def __init__(self, rows: Sequence[ReadRow]) -> None:
        codes = {row["cell"] for row in rows} | {row["twin_of"] for row in rows} - {None}
        self.cells = {cell.code: cell for cell in Cell.objects.filter(code__in=codes).select_related("build")}
        self.builds = {
            build.code: build
            for build in Build.objects.filter(code__in={row["build"] for row in rows}).select_related(
                "revision__recipe"
            )
        }
        self.recipes = {
            recipe.code: recipe
            for recipe in Recipe.objects.filter(
                code__in={row["recipe"] for row in rows if row["recipe"]}
            ).prefetch_related("revisions__parts__material__lots")
        }
        self.times = Counter(row["cell"] for row in rows)
        self.first: dict[str, ReadRow] = {}
        for row in rows:
            if row["build"] and not row.faults:
                self.first.setdefault(row["build"], row)
        self.coming = set(self.times)

    def faults(self, row: ReadRow) -> list[tuple[str, str]]:
        """Say what is wrong with a row whose values could be read one by one."""
        faults = []
        if self.times[row["cell"]] > 1:
            faults.append(
                ("cell", f"{row['cell']} stands in {self.times[row['cell']]} rows; it is built once.")
            )
        faults += self._faults_of_build(row)
        if row["twin_of"] and row["twin_of"] == row["cell"]:
            faults.append(("twin_of", "A cell is not its own twin."))
        elif row["twin_of"] and row["twin_of"] not in self.coming | set(self.cells):
            faults.append(("twin_of", f"No cell {row['twin_of']} is known or in this table."))
        if (cell := self.cells.get(row["cell"])) and (said := self._differs(cell, row)):
            faults.append(("cell", said))
        return faults

    def _faults_of_build(self, row: ReadRow) -> list[tuple[str, str]]:
        build = self.builds.get(row["build"])
        if build is not None:
            if row["recipe"] and row["recipe"] != build.revision.recipe.code:
                return [("recipe", f"{build} was made to {build.revision}, not to {row['recipe']}.")]
            if row["revision"] and row["revision"] != build.revision.number:
                return [("revision", f"{build} was made to {build.revision}.")]
            return []
        if not row["recipe"] or not row["built_on"]:
            return [("build", f"{row['build']} is a new build: give its recipe and the day it was built on.")]
        recipe = self.recipes.get(row["recipe"])
        if recipe is None:
            return [("recipe", f"No recipe {row['recipe']} is known. Bring the recipes first.")]
        if row["revision"] and row["revision"] not in {r.number for r in recipe.revisions.all()}:
            return [("revision", f"{recipe} has no revision {row['revision']}.")]
        first = self.first[row["build"]]
        for key, words in (("recipe", "recipe"), ("built_on", "day"), ("revision", "revision")):
            if row[key] != first[key]:
                return [(key, f"Row {first.number} gives build {row['build']} another {words}.")]
        return self._faults_of_lots(row, recipe)

    def _faults_of_lots(self, row: ReadRow, recipe: Any) -> list[tuple[str, str]]:
        roles = {part.role for part in self._revision(recipe, row["revision"]).parts.all()}
        return [
            (key, f"{recipe} has no {role}, so it has no lot of one.")
            for role, key in _lot_keys()
            if row[key] and role not in roles
        ]

    def _differs(self, cell: Cell, row: ReadRow) -> str:
        """Say how a cell that is in the books differs from the row; an import never changes it."""
        differing = [
            key for key in row.values if key in _as_built() and row[key] not in (None, getattr(cell, key))
        ]
        if row["build"] != cell.build.code:
            differing.insert(0, "build")
        if not differing:
            return ""
        words = {column.key: column.words for column in COLUMNS}
        return (
            f"{cell} is known, with another {', '.join(words[key] for key in differing)}. "
            "An import changes no cell; correct it on its page, with the reason."
        )

    def _revision(self, recipe: Any, number: int | None) -> Any:
        revisions = list(recipe.revisions.all())
        return next((r for r in revisions if r.number == number), revisions[-1])

    def step(self, row: ReadRow) -> Step:
        """Give what a row without fault would do."""
        if row["cell"] in self.cells:
            return Step([row.number], row["cell"], "same", self._values(row), row.shown, list(row.notes))
        notes = list(row.notes)
        values = self._values(row)
        if row["build"] not in self.builds:
            recipe = self.recipes[row["recipe"]]
            revision = self._revision(recipe, row["revision"])
            values |= {"recipe": recipe.code, "revision": revision.number, "built_on": row["built_on"]}
            if self.first[row["build"]] is row:
                notes.append(f"new build {row['build']} to {revision}, which is frozen by it")
                notes += self._new_lots(row, revision)
        elif any(row[key] for _, key in _lot_keys() if key != "lot_air_electrode"):
            notes.append("lots of a build that is known are not changed")
        return Step([row.number], row["cell"], "new cell", values, row.shown, notes)

    def _values(self, row: ReadRow) -> dict[str, Any]:
        return {
            "build": row["build"],
            "as_built": {key: row[key] for key in _as_built() if row[key] is not None},
            "lots": {role: row[key] for role, key in _lot_keys() if row[key]},
            "time_zero": bool(row["time_zero"]),
            "twin_of": row["twin_of"] or "",
            "note": row["note"] or "",
        }

    def _new_lots(self, row: ReadRow, revision: Any) -> list[str]:
        parts = {part.role: part.material for part in revision.parts.all()}
        return [
            f"new lot {row[key]} of {parts[role]}"
            for role, key in _lot_keys()
            if row[key] and fold(row[key]) not in {fold(lot.code) for lot in parts[role].lots.all()}
        ]


def _lot_keys() -> list[tuple[str, str]]:
    return [(role, f"lot_{role.replace(' ', '_')}") for role in LOTS]


def _as_built() -> list[str]:
    return [c.key for c in COLUMNS if c.key not in NOT_AS_BUILT and not c.key.startswith("lot_")]
