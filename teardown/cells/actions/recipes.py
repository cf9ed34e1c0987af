"""Materials, lots, recipes and their revisions."""

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max

from teardown.accounts.roles import demand
from teardown.cells.actions.search import refresh_search_text
from teardown.cells.models import Cell, Lot, Material, Recipe, RecipePart, RecipeRevision
from teardown.cells.rules import elements_of, fault_of_code, faults_of_part
from teardown.records.actions import record


@dataclass(frozen=True, slots=True)
class Part:
    """A material in a recipe: ``amount`` in ``unit``, of what ``basis`` says. Fractions are 0 to 1."""

    role: str
    material: Material
    amount: float
    unit: str
    basis: str = "cell"

    def words(self) -> dict[str, Any]:
        """Give what a record keeps of it."""
        return {
            "role": self.role,
            "material": self.material.name,
            "amount": getattr(self.amount, "text", self.amount),
            "unit": self.unit,
            "basis": self.basis,
        }


def add_material(
    *,
    name: str,
    kind: str,
    by: Any,
    formula: str = "",
    constituents: Iterable[str] = (),
    note: str = "",
    at: dt.datetime | None = None,
) -> Material:
    """Make a material known.

    Parameters
    ----------
    kind : str
        One of ``Material.Kind``: "iron", "additive", "alkali", "air electrode" ...
    constituents : iterable of str
        Elements that a caution must know of: "S", "Bi", "Li" ... Without any, those of the formula.
    """
    _demand(by, "recipes.write")
    material = Material(
        name=name.strip(),
        kind=kind,
        formula=formula,
        constituents=list(constituents) or elements_of(formula),
        note=note,
    )
    with transaction.atomic():
        material.full_clean()
        material.save()
        record(verb="added", subject=material, by=by, at=at, payload={"name": material.name, "kind": kind})
    return material


def add_lot(
    *,
    material: Material,
    code: str,
    by: Any,
    received_on: dt.date | None = None,
    purity: float | None = None,
    purity_u: float | None = None,
    note: str = "",
    at: dt.datetime | None = None,
) -> Lot:
    """Note a delivery of a material; ``purity`` is the mass fraction of the named material, 0 to 1."""
    _demand(by, "recipes.write")
    lot = Lot(
        material=material,
        code=code.strip(),
        received_on=received_on,
        purity=purity,
        purity_u=purity_u,
        note=note,
    )
    with transaction.atomic():
        lot.full_clean()
        lot.save()
        record(verb="added", subject=lot, by=by, at=at, payload={"material": material.name, "purity": purity})
    return lot


def add_recipe(
    *,
    code: str,
    title: str,
    parts: Sequence[Part],
    by: Any,
    note: str = "",
    at: dt.datetime | None = None,
) -> RecipeRevision:
    """Write a new recipe; give its first revision."""
    _demand(by, "recipes.write")
    if fault := fault_of_code(code.strip()):
        raise ValidationError({"code": fault})
    with transaction.atomic():
        recipe = Recipe(code=code.strip(), title=title, note=note)
        recipe.full_clean()
        recipe.save()
        revision = write_revision(recipe, parts)
        record(
            verb="added",
            subject=revision,
            by=by,
            at=at,
            payload={"recipe": recipe.code, "parts": [part.words() for part in parts]},
        )
    return revision


def revise_recipe(
    *,
    recipe: Recipe,
    because: str,
    by: Any,
    parts: Sequence[Part] | None = None,
    at: dt.datetime | None = None,
) -> RecipeRevision:
    """Make a new revision of a recipe; without ``parts`` it is a copy of the last one.

    Raises
    ------
    ValidationError
        If no reason is given.
    """
    _demand(by, "recipes.write")
    if not because.strip():
        raise ValidationError({"because": "Say why the recipe changes."})
    last = recipe.revisions.order_by("-number").first()
    if parts is None:
        parts = parts_of(last) if last else []
    with transaction.atomic():
        revision = write_revision(recipe, parts, because)
        record(
            verb="revised",
            subject=revision,
            by=by,
            reason=because,
            at=at,
            payload={
                "recipe": recipe.code,
                "before": [part.words() for part in parts_of(last)] if last else [],
                "after": [part.words() for part in parts],
            },
        )
    return revision


def rename_recipe(
    *, recipe: Recipe, seen: int, title: str, note: str, by: Any, at: dt.datetime | None = None
) -> Recipe:
    """Change title and note of a recipe that still is at the version the person saw.

    Raises
    ------
    StaleVersion
        If someone changed it in between.
    """
    _demand(by, "recipes.write")
    before = {"title": recipe.title, "note": recipe.note}
    with transaction.atomic():
        recipe.change(seen=seen, title=title, note=note)
        refresh_search_text(Cell.objects.filter(build__revision__recipe=recipe))
        record(
            verb="renamed",
            subject=recipe,
            by=by,
            at=at,
            payload={"before": before, "after": {"title": title, "note": note}},
        )
    return recipe


def parts_of(revision: RecipeRevision) -> list[Part]:
    """Give the parts of a revision, to be copied or compared."""
    return [
        Part(row.role, row.material, row.amount, row.unit, row.basis)
        for row in revision.parts.select_related("material")
    ]


def write_revision(recipe: Recipe, parts: Sequence[Part], because: str = "") -> RecipeRevision:
    """Write a revision with its parts, checked, inside the transaction of a deed.

    Raises
    ------
    ValidationError
        With one sentence for each part that makes no sense.
    """
    if not parts:
        raise ValidationError("A recipe has at least one part.")
    faults = [
        f"{part.material}: {fault}"
        for part in parts
        for fault in faults_of_part(part.amount, part.unit, part.basis)
    ]
    if faults:
        raise ValidationError(faults)
    last = RecipeRevision.all_ever.filter(recipe=recipe).aggregate(last=Max("number"))["last"]
    revision = RecipeRevision(recipe=recipe, number=(last or 0) + 1, changed_because=because)
    revision.full_clean()
    revision.save()
    for part in parts:
        row = RecipePart(
            revision=revision,
            role=part.role,
            material=part.material,
            amount=part.amount,
            unit=part.unit,
            basis=part.basis,
        )
        row.full_clean()
        row.save()
    return revision


def _demand(by: Any, action: str) -> None:
    if by is not None:
        demand(by, action)
