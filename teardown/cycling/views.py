"""Tests, their imports, and the cells of a recipe over each other: request to response."""

import csv
from collections.abc import Iterable

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from teardown.accounts.roles import may, needs
from teardown.cells.models import Cell, Recipe, Test
from teardown.cycling.actions import (
    KIND,
    apply_import,
    reread_import,
    show_import,
    sum_up_again,
    tested,
    withdraw_import,
)
from teardown.cycling.dossier import packing
from teardown.cycling.dossier.chosen import choose
from teardown.cycling.dossier.overlay import Overlay, overlay
from teardown.cycling.dossier.test import curves_of, test_page
from teardown.cycling.forms import MapForm, ReasonForm, RecipesForm, UploadForm
from teardown.cycling.models import TestSummary
from teardown.cycling.store import read_curves, series_path
from teardown.files.models import Delivery
from teardown.files.store import derived
from teardown.formats.data_package import data_package
from teardown.science.electrochemistry.table import CYCLE_COLUMNS


def _test(request: HttpRequest, pk: int) -> Test:
    """Find a test that this person may see."""
    cells = Cell.objects.visible_to(request.user)
    rows = Test.objects.select_related("cell__build__revision__recipe", "end", "protocol__protocol")
    return get_object_or_404(rows.filter(cell__in=cells), pk=pk)


@require_safe
@needs("pages.see")
def history(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one test: figures, numbers, files."""
    page = test_page(_test(request, pk), request.GET.dict())
    may_import = may(request.user, "cycling.import")
    return render(
        request, "cycling/history.html", {"page": page, "may_import": may_import, "form": UploadForm()}
    )


@require_safe
@needs("pages.see")
def cycles_csv(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the per-cycle values of a test as a table."""
    found = _test(request, pk)
    _, columns = curves_of(found)
    names = [name for name in CYCLE_COLUMNS if name in columns or not columns]
    rows = zip(*(columns[name].tolist() for name in names), strict=True) if columns else ()
    return _csv(f"{found.cell.code}-test-{found.number}-cycles.csv", names, rows)


@require_safe
@needs("pages.see")
def curves_csv(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the voltage curves of chosen cycles as a table."""
    found = _test(request, pk)
    packed, columns = curves_of(found)
    kept = read_curves(found.pk, packed.run.key) if packed else None
    if kept is None:
        raise Http404("No curves are kept for this test.")
    cycles, _ = choose(request.GET.get("cycles", ""), columns, TestSummary.objects.filter(test=found).first())
    rows = (
        (cycle, words, share * float(kept.charge_Ah[way, place]), float(volts))
        for cycle in cycles
        for place in [kept.cycle.tolist().index(cycle)]
        for way, words in ((0, "charge"), (1, "discharge"))
        for share, volts in zip(_shares(kept.voltage_V.shape[2]), kept.voltage_V[way, place], strict=True)
    )
    return _csv(
        f"{found.cell.code}-test-{found.number}-voltage.csv",
        ("cycle", "half", "charge_Ah", "voltage_V"),
        rows,
    )


def _shares(points: int) -> list[float]:
    return [k / (points - 1) for k in range(points)]


def _csv(name: str, heads: Iterable[str], rows: Iterable[Iterable[object]]) -> HttpResponse:
    response = HttpResponse(content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    writer = csv.writer(response)
    writer.writerow(heads)
    writer.writerows(["" if cell != cell else cell for cell in row] for row in rows)
    return response


@require_safe
@needs("pages.see")
def series(request: HttpRequest, pk: int) -> HttpResponseBase:
    """Give the whole history of a test in the open format, as it is kept."""
    found = _test(request, pk)
    packed, _ = curves_of(found)
    path = series_path(found.pk, packed.run.key) if packed else ""
    if not path or not derived().exists(path):
        raise Http404("No series is kept for this test.")
    name = f"{found.cell.code}-test-{found.number}.bdf.parquet"
    return FileResponse(derived().open(path), as_attachment=True, filename=name)


@require_POST
@needs("cycling.import")
def again(request: HttpRequest, pk: int) -> HttpResponse:
    """Have a test summed up again."""
    found = _test(request, pk)
    if sum_up_again(test=found, by=request.user) is None:
        messages.error(request, "No cycling file has been imported for this test.")
    return redirect("history", found.pk)


@require_http_methods(["GET", "HEAD", "POST"])
@needs("cycling.import")
def import_series(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a cycling file for a test and show what it would give."""
    found = _test(request, pk)
    form = UploadForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        try:
            delivery = show_import(test=found, upload=form.cleaned_data["file"], by=request.user)
            return redirect("series_import", delivery.pk)
        except ValidationError as refusal:
            form.add_error("file", refusal)
    return render(
        request, "cycling/import.html", {"test": found, "form": form}, status=422 if form.errors else 200
    )


@require_http_methods(["GET", "HEAD", "POST"])
@needs("cycling.import")
def series_import(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one import; map its columns anew, apply it, or take it back."""
    delivery = get_object_or_404(Delivery.objects.select_related("receipt__file", "by"), pk=pk, kind=KIND)
    found = _test(request, tested(delivery).pk)
    planned = delivery.planned[0]
    posted = request.POST if request.method == "POST" else None
    mapping = MapForm(
        posted if posted and posted.get("deed") == "map" else None,
        names=planned["names"],
        document=delivery.column_map,
    )
    reason = ReasonForm(posted if posted and posted.get("deed") == "withdraw" else None)
    if posted is not None:
        answer = _do(request, delivery, found, mapping, reason)
        if answer is not None:
            return answer
    context = {"delivery": delivery, "planned": planned, "test": found, "mapping": mapping, "reason": reason}
    return render(request, "cycling/series_import.html", context, status=200 if posted is None else 422)


def _do(
    request: HttpRequest, delivery: Delivery, found: Test, mapping: MapForm, reason: ReasonForm
) -> HttpResponse | None:
    """Do what was asked of an import; None where the form has to be shown again."""
    deed = request.POST.get("deed")
    try:
        if deed == "apply":
            apply_import(delivery=delivery, by=request.user)
            messages.success(
                request, f"“{delivery.receipt.name}” is part of {found} now; its cycles are being computed."
            )
            return redirect("history", found.pk)
        if deed == "map" and mapping.is_valid():
            reread_import(delivery=delivery, column_map=mapping.cleaned_data["document"], by=request.user)
            return redirect("series_import", delivery.pk)
        if deed == "withdraw" and reason.is_valid():
            withdraw_import(delivery=delivery, by=request.user, reason=reason.cleaned_data["reason"])
            messages.success(request, f"“{delivery.receipt.name}” was withdrawn; the file stays kept.")
            return redirect("history", found.pk)
    except ValidationError as refusal:
        for sentence in refusal.messages:
            messages.error(request, sentence)
    return None


@require_safe
@needs("cycling.import")
def map_json(request: HttpRequest, pk: int) -> JsonResponse:
    """Give the column map of an import as an open document."""
    delivery = get_object_or_404(Delivery, pk=pk, kind=KIND)
    _test(request, tested(delivery).pk)
    return JsonResponse(delivery.column_map, json_dumps_params={"indent": 2, "ensure_ascii": False})


@require_safe
@needs("pages.see")
def package(request: HttpRequest, pk: int) -> HttpResponse:
    """Give a history as tables with their description: a Data Package."""
    found = _test(request, pk)
    packed, columns = curves_of(found)
    summary = TestSummary.objects.filter(test=found).first()
    if packed is None or not columns or summary is None:
        raise Http404("No history is kept for this test.")
    tables = [packing.cycles_table([(found, columns)]), packing.metrics_table([(found, summary)])]
    kept = read_curves(found.pk, packed.run.key)
    if kept is not None:
        cycles, _ = choose(request.GET.get("cycles", ""), columns, summary)
        tables.append(packing.voltage_table(kept, cycles))
    name = f"{found.cell.code}-test-{found.number}"
    title = f"Cycling history of {found.cell.code}, test {found.number}"
    return _zip(name, data_package(name, title, tables, created=packed.run.finished_at or timezone.now()))


def _zip(name: str, data: bytes) -> HttpResponse:
    response = HttpResponse(data, content_type="application/zip")
    response["Content-Disposition"] = f'attachment; filename="{name}.zip"'
    return response


@require_safe
@needs("recipes.see")
def recipe_capacity(request: HttpRequest, code: str) -> HttpResponse:
    """Lay the histories of all cells of a recipe over each other."""
    shown = _overlay(request, [get_object_or_404(Recipe, code=code)])
    return render(request, "cycling/recipe.html", {"page": shown, "group": shown.groups[0]})


@require_safe
@needs("recipes.see")
def capacities(request: HttpRequest) -> HttpResponse:
    """Lay recipes over each other: median and quartiles of each."""
    form = RecipesForm(request.GET)
    context = {"page": _overlay(request, form.chosen), "form": form, "query": request.GET.urlencode()}
    return render(request, "cycling/capacities.html", context)


@require_safe
@needs("recipes.see")
def capacities_csv(request: HttpRequest) -> HttpResponse:
    """Give median and quartiles of recipes as a table."""
    table = packing.spread_table(_overlay(request, RecipesForm(request.GET).chosen))
    return _csv("capacities.csv", [field.name for field in table.fields], table.rows)


@require_safe
@needs("recipes.see")
def capacities_package(request: HttpRequest) -> HttpResponse:
    """Give the histories of recipes as tables with their description: a Data Package."""
    shown = _overlay(request, RecipesForm(request.GET).chosen)
    tests = [test for group in shown.groups for test in group.tests]
    if not tests:
        raise Http404("No history is kept for these recipes.")
    recipe_of = {test.pk: group.recipe.code for group in shown.groups for test in group.tests}
    latest = {row.test_id: row for row in TestSummary.objects.filter(test__in=tests).order_by("pk")}
    tables = [
        packing.tests_table(tests, recipe_of),
        packing.cycles_table(
            [each for group in shown.groups for each in zip(group.tests, group.columns, strict=True)]
        ),
        packing.metrics_table([(test, latest[test.pk]) for test in tests if test.pk in latest]),
        packing.spread_table(shown),
    ]
    codes = [group.recipe.code for group in shown.groups]
    title = f"Cycling histories of the cells of {', '.join(codes)}"
    return _zip(
        "capacities", data_package("-".join(["capacities", *codes]), title, tables, created=timezone.now())
    )


def _overlay(request: HttpRequest, recipes: list[Recipe]) -> Overlay:
    rows = Test.objects.filter(
        cell__build__revision__recipe__in=recipes, cell__in=Cell.objects.visible_to(request.user)
    ).select_related("cell__build__revision", "end")
    tests: dict[int, list[Test]] = {}
    for test in rows.order_by("cell__code", "number"):
        tests.setdefault(test.cell.build.revision.recipe_id, []).append(test)
    return overlay(recipes, tests, request.GET.dict())
