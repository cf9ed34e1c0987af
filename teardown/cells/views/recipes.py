"""Recipes, builds, cells as built, materials and lots."""

from typing import Any

from django.contrib import messages
from django.db.models import Count
from django.forms import BaseFormSet
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from teardown.accounts.roles import may, needs
from teardown.cells import actions
from teardown.cells.actions.cells import AS_BUILT
from teardown.cells.actions.recipes import parts_of
from teardown.cells.dossier import build_cells, recipe_page
from teardown.cells.filters import MATERIAL_ORDERS, RECIPE_ORDERS, MaterialFilter, RecipeFilter
from teardown.cells.forms.recipes import (
    AmendCellForm,
    BuildForm,
    CellForm,
    LotForm,
    MaterialForm,
    PartFormSet,
    RecipeForm,
    RenameForm,
    ReviseForm,
)
from teardown.cells.models import Build, Cell, Material, Recipe, RecipeRevision
from teardown.page.lists import asks_for_csv, csv_answer, in_order, page_of
from teardown.page.trying import tried

ASKED = require_http_methods(["GET", "HEAD", "POST"])


@require_safe
@needs("recipes.see")
def recipes(request: HttpRequest) -> HttpResponseBase:
    """List recipes by their newest revision."""
    rows: Any = RecipeRevision.objects.newest().with_factors().with_counts().select_related("recipe")
    asked = RecipeFilter(request.GET, queryset=rows)
    rows = in_order(
        asked.qs if asked.is_valid() else asked.queryset.none(),
        request.GET.get("order", ""),
        RECIPE_ORDERS,
        "code",
    )
    if asks_for_csv(request):
        heads = ("recipe", "revision", "title", "iron", "additive", "additive share (1)", "alkali",
                 "alkali (mol/L)", "air electrode", "builds", "cells")  # fmt: skip
        return csv_answer(
            "recipes",
            heads,
            (
                (r.recipe.code, r.number, r.recipe.title, r.iron, r.additive, r.additive_share, r.alkali,
                 r.alkali_mol_L, r.air_electrode, r.n_builds, r.n_cells)
                for r in rows.iterator(500)
            ),
        )  # fmt: skip
    context = {
        "asked": asked,
        "page": page_of(rows, request),
        "may_write": may(request.user, "recipes.write"),
    }
    return render(request, "cells/recipes.html", context)


@ASKED
@needs("recipes.see")
def recipe(request: HttpRequest, code: str) -> HttpResponse:
    """Show a recipe with its revisions and their differences; change its title."""
    one = get_object_or_404(Recipe, code=code)
    form = RenameForm(
        request.POST or None, initial={"seen": one.version, "title": one.title, "note": one.note}
    )
    if request.method == "POST" and tried(
        form, lambda: actions.rename_recipe(recipe=one, by=request.user, **form.cleaned_data)
    ):
        messages.success(request, "Title and note are changed.")
        return redirect("recipe", one.code)
    one.refresh_from_db()
    context = {"page": recipe_page(one), "form": form, "may_write": may(request.user, "recipes.write")}
    return render(request, "cells/recipe.html", context)


@ASKED
@needs("recipes.write")
def new_recipe(request: HttpRequest) -> HttpResponse:
    """Write a new recipe."""
    form = RecipeForm(request.POST or None)
    rows = PartFormSet(request.POST or None, prefix="parts")
    if request.method == "POST" and rows.is_valid():
        made = tried(
            form,
            lambda: actions.add_recipe(parts=_parts(rows), by=request.user, **form.cleaned_data),
        )
        if made:
            messages.success(request, f"{made.recipe} is written.")
            return redirect("recipe", made.recipe.code)
    context = {"form": form, "rows": rows, "materials": Material.objects.exists()}
    return render(request, "cells/new_recipe.html", context)


@ASKED
@needs("recipes.write")
def revise(request: HttpRequest, code: str) -> HttpResponse:
    """Make a new revision of a recipe, from a copy of the last."""
    one = get_object_or_404(Recipe, code=code)
    last = one.revisions.order_by("-number").first()
    copied = [_typed(part) for part in parts_of(last)] if last else []
    form = ReviseForm(request.POST or None)
    rows = PartFormSet(request.POST or None, prefix="parts", initial=copied)
    if request.method == "POST" and rows.is_valid():
        made = tried(
            form,
            lambda: actions.revise_recipe(
                recipe=one, parts=_parts(rows), by=request.user, **form.cleaned_data
            ),
        )
        if made:
            messages.success(request, f"Revision {made.number} is written.")
            return redirect("recipe", one.code)
    return render(request, "cells/revise.html", {"recipe": one, "form": form, "rows": rows})


def _parts(rows: BaseFormSet[Any]) -> list[actions.Part]:
    parts = []
    for form in rows.forms:
        data = form.cleaned_data
        if data.get("role"):
            percent = data["unit"] == "%"
            amount = float(f"{float(data['amount']) / 100:.15g}") if percent else data["amount"]
            unit = "1" if percent else data["unit"]
            basis = "electrolyte" if unit == "mol/L" else data["basis"]
            parts.append(actions.Part(data["role"], data["material"], amount, unit, basis))
    return parts


def _typed(part: actions.Part) -> dict[str, Any]:
    percent = part.unit == "1"
    return {
        "role": part.role,
        "material": part.material.pk,
        "amount": float(f"{part.amount * 100:.15g}") if percent else part.amount,
        "unit": "%" if percent else part.unit,
        "basis": part.basis,
    }


@ASKED
@needs("recipes.write")
def new_build(request: HttpRequest, code: str, number: int) -> HttpResponse:
    """Start a batch of cells to one revision, which is frozen by it."""
    revision = get_object_or_404(
        RecipeRevision.objects.select_related("recipe"), recipe__code=code, number=number
    )
    form = BuildForm(request.POST or None, revision=revision)
    if request.method == "POST":
        made = tried(
            form,
            lambda: actions.add_build(
                code=form.cleaned_data["code"],
                revision=revision,
                built_on=form.cleaned_data["built_on"],
                note=form.cleaned_data["note"],
                lots=form.chosen_lots(),
                by=request.user,
            ),
        )
        if made:
            messages.success(request, f"Build {made} is begun; {revision} is frozen by it.")
            return redirect("build", made.code)
    return render(request, "cells/new_build.html", {"form": form, "revision": revision})


@ASKED
@needs("recipes.see")
def build(request: HttpRequest, code: str) -> HttpResponse:
    """Show a build with its lots and cells; add a cell to it."""
    one = get_object_or_404(Build.objects.select_related("revision__recipe"), code=code)
    form = CellForm(request.POST or None)
    if request.method == "POST":
        made = tried(form, lambda: actions.add_cells(cells=[_new_cell(one, form)], by=request.user))
        if made:
            messages.success(request, f"{made[0]} is added.")
            return redirect("build", one.code)
    context = {
        "build": one,
        "lots": one.lot_uses.select_related("lot__material"),
        "cells": build_cells(one),
        "form": form,
        "may_write": may(request.user, "cells.import"),
    }
    return render(request, "cells/build.html", context)


def _new_cell(one: Build, form: CellForm) -> actions.NewCell:
    return actions.NewCell(
        code=form.cleaned_data["code"],
        build=one,
        as_built=form.as_built(),
        time_zero=form.cleaned_data["time_zero"],
        twin_of=form.cleaned_data["twin_of"],
        note=form.cleaned_data["note"],
    )


@ASKED
@needs("cells.import")
def amend_cell(request: HttpRequest, code: str) -> HttpResponse:
    """Correct what was written of a cell as built, with the reason."""
    cell = get_object_or_404(Cell, code=code)
    form = AmendCellForm(request.POST or None, initial=_as_typed(cell))
    if request.method == "POST" and tried(
        form,
        lambda: actions.amend_cell(
            cell=cell,
            seen=form.cleaned_data["seen"],
            reason=form.cleaned_data["reason"],
            by=request.user,
            **_corrected(form),
        ),
    ):
        messages.success(request, f"{cell} is corrected.")
        return redirect("cell", cell.code)
    return render(request, "cells/amend_cell.html", {"form": form, "cell": cell})


def _corrected(form: AmendCellForm) -> dict[str, Any]:
    plain = {name: form.cleaned_data[name] for name in ("time_zero", "twin_of", "note")}
    return {**form.as_built(), **plain}


def _as_typed(cell: Cell) -> dict[str, Any]:
    values: dict[str, Any] = {key: getattr(cell, key) for key in AS_BUILT}
    for key in ("porosity", "porosity_u"):
        values[key] = None if values[key] is None else float(f"{values[key] * 100:.15g}")
    twin = cell.twin_of.code if cell.twin_of else ""
    return values | {"seen": cell.version, "time_zero": cell.time_zero, "twin_of": twin, "note": cell.note}


@ASKED
@needs("recipes.see")
def materials(request: HttpRequest) -> HttpResponseBase:
    """List materials; make a new one known."""
    form = MaterialForm(request.POST or None)
    if request.method == "POST":
        made = tried(form, lambda: _add_material(form, request.user))
        if made:
            messages.success(request, f"{made} is known now.")
            return redirect("material", made.pk)
    asked = MaterialFilter(request.GET, queryset=Material.objects.annotate(n_lots=Count("lots")))
    rows: Any = in_order(
        asked.qs if asked.is_valid() else asked.queryset.none(),
        request.GET.get("order", ""),
        MATERIAL_ORDERS,
        "name",
    )
    if asks_for_csv(request):
        heads = ("material", "used as", "formula", "constituents", "lots", "note")
        return csv_answer(
            "materials",
            heads,
            (
                (m.name, m.get_kind_display(), m.formula, " ".join(m.constituents), m.n_lots, m.note)
                for m in rows.iterator(500)
            ),
        )
    context = {
        "asked": asked,
        "page": page_of(rows, request),
        "form": form,
        "may_write": may(request.user, "recipes.write"),
    }
    return render(request, "cells/materials.html", context)


def _add_material(form: MaterialForm, by: Any) -> Material:
    data = dict(form.cleaned_data)
    told = data.pop("constituents").replace(",", " ").split()
    return actions.add_material(constituents=told, by=by, **data)


@ASKED
@needs("recipes.see")
def material(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a material with its lots and the recipes that use it; note a new lot."""
    one = get_object_or_404(Material, pk=pk)
    form = LotForm(request.POST or None)
    if request.method == "POST":
        made = tried(form, lambda: actions.add_lot(material=one, by=request.user, **form.deed()))
        if made:
            messages.success(request, f"Lot {made.code} is noted.")
            return redirect("material", one.pk)
    context = {
        "material": one,
        "lots": one.lots.all(),
        "recipes": Recipe.objects.filter(
            pk__in=RecipeRevision.objects.filter(parts__material=one).values("recipe")
        ),
        "form": form,
        "may_write": may(request.user, "recipes.write"),
    }
    return render(request, "cells/material.html", context)
