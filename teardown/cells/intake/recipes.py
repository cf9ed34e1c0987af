"""What the rows of a table of recipes mean: one row for each material in a recipe."""

from collections.abc import Sequence
from difflib import get_close_matches
from typing import Any

from teardown.cells.intake.reading import ReadRow, Step
from teardown.cells.models import Material, Recipe, RecipePart
from teardown.cells.rules import FRACTION_BASES, differences, elements_of, faults_of_part, fold, listed
from teardown.formats.tables import RefusedRow

UNITS = {
    "g": "g",
    "mg": "mg",
    "1": "1",
    "%": "%",
    "mol/l": "mol/L",
    "ml": "mL",
    "cm2": "cm2",
    "piece": "piece",
}
ROLES = {fold(value): value for value in Material.Kind.values}
BASES = {fold(value): value for value in RecipePart.Basis.values}


def plan(rows: Sequence[ReadRow]) -> tuple[list[Step], list[RefusedRow]]:
    """Plan what each recipe of the table would become: new, a new revision, or the same as it is."""
    refused: list[RefusedRow] = []
    by_code: dict[str, list[ReadRow]] = {}
    for row in rows:
        by_code.setdefault(row["recipe"] or "", []).append(row)
    standing = {
        recipe.code: recipe
        for recipe in Recipe.objects.filter(code__in=by_code).prefetch_related("revisions__parts__material")
    }
    materials = {fold(material.name): material for material in Material.objects.all()}
    steps = []
    for code, group in by_code.items():
        faults = [fault for row in group for fault in _faults(row, group)]
        if faults or any(row.faults for row in group):
            refused += faults
            said = {fault.row for fault in faults} | {row.number for row in group if row.faults}
            refused += [
                RefusedRow(
                    row.number, "recipe", code, f"Another row of {code} is refused; a recipe comes whole."
                )
                for row in group
                if row.number not in said
            ]
            continue
        steps.append(_step(code, group, standing.get(code), materials))
    return steps, refused


def _faults(row: ReadRow, group: Sequence[ReadRow]) -> list[RefusedRow]:
    """Say what is wrong with a row whose values could be read one by one."""
    if row.faults:
        return []
    faults = []
    role, unit, basis = (fold(row[key] or "") for key in ("role", "unit", "basis"))
    if role not in ROLES:
        faults.append(("role", f"“{row['role']}” is no role. Write {listed(ROLES.values())}."))
    if unit not in UNITS:
        faults.append(("unit", f"“{row['unit']}” is no unit of an amount. Write {listed(UNITS.values())}."))
    if basis and basis not in BASES:
        faults.append(("basis", f"“{row['basis']}” is no basis. Write {listed(FRACTION_BASES)}, or nothing."))
    if not faults:
        amount, unit, basis = _amount(row)
        faults += [("amount", fault) for fault in faults_of_part(amount, unit, basis)]
        same = [r.number for r in group if (r["role"], r["material"]) == (row["role"], row["material"])]
        if same[0] != row.number:
            faults.append(("material", f"{row['material']} stands as {role} in row {same[0]} already."))
    return [RefusedRow(row.number, key, str(row[key] or ""), message) for key, message in faults]


def _amount(row: ReadRow) -> tuple[float, str, str]:
    unit = UNITS[fold(row["unit"])]
    basis = BASES.get(fold(row["basis"] or ""), "")
    amount = row["amount"]
    if unit == "%":
        amount, unit = float(f"{amount / 100:.15g}"), "1"
    return amount, unit, basis or ("electrolyte" if unit == "mol/L" else "cell")


def _part(row: ReadRow) -> dict[str, Any]:
    amount, unit, basis = _amount(row)
    return {
        "role": ROLES[fold(row["role"])],
        "material": row["material"],
        "formula": row["formula"] or "",
        "amount": amount,
        "unit": unit,
        "basis": basis,
    }


def _step(code: str, group: Sequence[ReadRow], recipe: Any, materials: dict[str, Material]) -> Step:
    parts = [_part(row) for row in group]
    for part in parts:
        if known := materials.get(fold(part["material"])):
            part["material"], part["formula"] = known.name, known.formula
    title = next((row["title"] for row in group if row["title"]), "")
    because = next((row["because"] for row in group if row["because"]), "")
    notes = [note for part in parts for note in _notes(part, materials)]
    if recipe is None:
        does, before = "new recipe", []
        title = title or ", ".join(part["material"] for part in parts[:2])
    else:
        last = recipe.revisions.all().last()
        before = [
            {
                "role": p.role,
                "material": p.material.name,
                "amount": p.amount,
                "unit": p.unit,
                "basis": p.basis,
            }
            for p in (last.parts.all() if last else [])
        ]
        does = "same" if _key(before) == _key(parts) else "new revision"
        if title and title != recipe.title:
            notes.append(f"The title stays “{recipe.title}”.")
    return Step(
        rows=[row.number for row in group],
        code=code,
        does=does,
        values={"title": title[:160], "because": because, "parts": parts},
        notes=notes + (differences(before, parts) if does == "new revision" else []),
    )


def _key(parts: Sequence[dict[str, Any]]) -> set[tuple[Any, ...]]:
    return {(p["role"], p["material"], p["amount"], p["unit"], p["basis"]) for p in parts}


def _notes(part: dict[str, Any], materials: dict[str, Material]) -> list[str]:
    if fold(part["material"]) in materials:
        return []
    notes = [f"new material: {part['material']}"]
    if close := get_close_matches(fold(part["material"]), materials, 1, 0.85):
        notes.append(f"is “{part['material']}” the known “{materials[close[0]].name}”?")
    if not elements_of(part["formula"]):
        notes.append(f"cautions cannot know what {part['material']} contains: give its formula")
    return notes
