"""Patterns on the screen: the list, bringing one, one pattern with its fits, several together."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from teardown.accounts.roles import may, needs
from teardown.diffraction import actions, dossier
from teardown.diffraction.dossier.figures import View
from teardown.diffraction.dossier.together import MOST
from teardown.diffraction.filters import PatternFilter
from teardown.diffraction.forms import (
    AddForm,
    CalibrateForm,
    DiffractometerChangeForm,
    DiffractometerForm,
    FitForm,
    FractionsForm,
    ReviewForm,
    ViewForm,
)
from teardown.diffraction.models import Diffractometer, Fit, Pattern, of_cells
from teardown.diffraction.runs import verdicts_on
from teardown.records.models import StaleVersion

PAGE = 40


def _find(request: HttpRequest, pk: int) -> Pattern:
    return get_object_or_404(Pattern.objects.visible_to(request.user).with_sample(), pk=pk)


def _find_fit(request: HttpRequest, pk: int) -> Fit:
    """Find a fit of a pattern or sample that this person may see."""
    from teardown.cells.models import Cell

    fits = Fit.objects.select_related("run", "pattern", "sample__part__dissection__cell")
    if not may(request.user, "cells.see_open"):
        cells = Cell.objects.visible_to(request.user)
        fits = fits.filter(of_cells(cells) | of_cells(cells, "pattern__sample"))
    return get_object_or_404(fits.prefetch_related("fractions"), pk=pk)


def _view(request: HttpRequest) -> tuple[View, ViewForm]:
    """Read the stretch and scale from the address; what cannot be read is left out."""
    form = ViewForm(request.GET)
    form.is_valid()
    given = getattr(form, "cleaned_data", {})
    low, high = given.get("low"), given.get("high")
    if low is not None and high is not None and low >= high:
        low = high = None
    scale: Any = given.get("scale") or "sqrt"
    return View(None if low is None else float(low), None if high is None else float(high), scale), form


@require_safe
@needs("pages.see")
def patterns(request: HttpRequest) -> HttpResponse:
    """List patterns with what was found in them."""
    seen = Pattern.objects.visible_to(request.user).with_sample()
    asked = PatternFilter(request.GET, queryset=seen)
    page = Paginator(asked.qs, PAGE).get_page(request.GET.get("page"))
    rows = dossier.rows_of(list(page.object_list))
    return render(request, "diffraction/patterns.html", {"filter": asked, "page": page, "rows": rows})


@needs("patterns.add")
def add(request: HttpRequest) -> HttpResponse:
    """Bring a pattern."""
    form = AddForm(
        request.POST or None, request.FILES or None, initial={"sample": request.GET.get("sample", "")}
    )
    if request.method == "POST" and form.is_valid():
        given = {k: v for k, v in form.cleaned_data.items() if k in _ADDED}
        number = given["monochromator_2theta_deg"]
        given["monochromator_2theta_deg"] = None if number is None else float(number)
        try:
            pattern = actions.add_pattern(by=request.user, **given)
        except ValidationError as error:
            form.add_error(None, error.messages)
        else:
            messages.success(request, f"{pattern} is kept; its phases are being fitted.")
            return redirect("pattern", pattern.pk)
    return render(request, "diffraction/add.html", {"form": form}, status=422 if form.errors else 200)


_ADDED = frozenset(
    {"file", "sample", "radiation", "preparation", "grain_um", "standard", "standard_fraction",
     "monochromator_2theta_deg", "diffractometer", "slits", "measured_on", "note"}
)  # fmt: skip


@require_safe
@needs("pages.see")
def pattern(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one pattern."""
    return _page(request, _find(request, pk))


def _page(request: HttpRequest, one: Pattern, status: int = 200, **forms: Any) -> HttpResponse:
    view, view_form = _view(request)
    number = request.GET.get("fit", "")
    page = dossier.page_of(one, request.user, view, int(number) if number.isdigit() else None)
    context = {
        "page": page,
        "view_form": view_form,
        "fit_form": FitForm(initial=_first_choice(page)),
        "fractions_form": FractionsForm(),
        "calibrate_form": CalibrateForm(),
        "refused": "",
    }
    return render(request, "diffraction/pattern.html", context | forms, status=status)


def _first_choice(page: dossier.PatternPage) -> dict[str, Any]:
    """Tick what was offered last, else what the recipe makes likely."""
    asked = page.shown.fit.run.settings if page.shown and not page.shown.external else {}
    phases = asked.get("phases") or list(actions.phases_for(page.pattern.sample, page.pattern.standard))
    grains = asked.get("particle_size_um") or [page.pattern.grain_low_um, page.pattern.grain_high_um]
    span = asked.get("range_deg") or [None, None]
    return {
        "phases": phases,
        "grain_low_um": grains[0],
        "grain_high_um": grains[1],
        "range_low_deg": span[0],
        "range_high_deg": span[1],
    }


@require_safe
@needs("pages.see")
def fitted(request: HttpRequest, pk: int) -> HttpResponse:
    """Give how far the fit is, asked again while it goes on; once done, have the page come anew."""
    page = dossier.page_of(_find(request, pk), request.user)
    response = render(request, "diffraction/_pending.html", {"page": page})
    if page.pending is None:
        response["HX-Refresh"] = "true"
    return response


@require_POST
@needs("patterns.add")
def fit(request: HttpRequest, pk: int) -> HttpResponse:
    """Fit again."""
    one = _find(request, pk)
    form = FitForm(request.POST)
    if form.is_valid():
        given = form.cleaned_data
        try:
            actions.fit_again(
                pattern=one,
                phases=given["phases"],
                by=request.user,
                range_deg=given["range_deg"],
                hump_deg=given["hump_deg"],
                particle_size_um=given["grain_um"],
                reason=given["reason"],
            )
        except ValidationError as error:
            form.add_error(None, error.messages)
        else:
            messages.success(request, "The pattern is being fitted; what was found before stays.")
            return redirect("pattern", pk)
    return _page(request, one, 422, fit_form=form)


@needs("patterns.add")
def diffractometers(request: HttpRequest) -> HttpResponse:
    """List the instruments with their calibrations; make a new one known."""
    form = DiffractometerForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            actions.add_diffractometer(by=request.user, **form.cleaned_data)
        except ValidationError as error:
            form.add_error(None, error.messages)
        else:
            messages.success(request, "It is known now. Scan a standard on it, and calibrate it with that.")
            return redirect("diffractometers")
    context = {
        "form": form,
        "change": DiffractometerChangeForm(),
        "rows": dossier.instruments(timezone.localdate()),
    }
    return render(request, "diffraction/diffractometers.html", context, status=422 if form.errors else 200)


@require_POST
@needs("patterns.add")
def diffractometer_change(request: HttpRequest, pk: int) -> HttpResponse:
    """Note that an instrument was changed."""
    one = get_object_or_404(Diffractometer, pk=pk)
    form = DiffractometerChangeForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Say on which day it was changed, and what was changed.")
        return redirect("diffractometers")
    try:
        actions.change_diffractometer(instrument=one, by=request.user, **form.cleaned_data)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    except StaleVersion as error:
        messages.error(request, str(error))
    else:
        messages.success(request, "Noted. Calibrate it anew before sizes are wanted.")
    return redirect("diffractometers")


@require_POST
@needs("patterns.add")
def calibrate(request: HttpRequest, pk: int) -> HttpResponse:
    """Calibrate the instrument of a pattern with it."""
    one = _find(request, pk)
    form = CalibrateForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Name the standard that the pattern is of.")
        return redirect("pattern", pk)
    try:
        actions.calibrate(pattern=one, phase=form.cleaned_data["phase"], by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, "The widths of the instrument are being taken from this pattern.")
    return redirect("pattern", pk)


@require_POST
@needs("measures.review")
def judge(request: HttpRequest, pk: int) -> HttpResponse:
    """Accept or reject a fit."""
    one = _find_fit(request, pk)
    form = ReviewForm(request.POST)
    back = redirect("pattern", one.pattern_id) if one.pattern_id else redirect("fit", one.pk)
    if not form.is_valid():
        messages.error(request, "Say whether it is accepted or rejected.")
        return back
    try:
        word = actions.review(fit=one, by=request.user, **form.cleaned_data)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, f"The result is {word.get_verdict_display()}.")
    return back


@require_safe
@needs("pages.see")
def fit_alone(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a result that has no pattern here."""
    one = _find_fit(request, pk)
    if one.pattern_id:
        response = redirect("pattern", one.pattern_id)
        response["Location"] += f"?fit={one.pk}"
        return response
    page = dossier.fit_page(one, request.user, verdicts_on([one.pk]).get(one.pk))
    return render(request, "diffraction/fit.html", {"page": page, "sample": one.sample})


@needs("patterns.add")
def fractions(request: HttpRequest) -> HttpResponse:
    """Bring phase fractions of a sample from elsewhere."""
    form = FractionsForm(
        request.POST or None, request.FILES or None, initial={"sample": request.GET.get("sample", "")}
    )
    if request.method == "POST" and form.is_valid():
        if form.cleaned_data["sample"] is None:
            form.add_error("sample", "Say which sample the fractions are of.")
        elif (run := _give(request, form, sample=form.cleaned_data["sample"])) is not None:
            return redirect("run", run.pk)
    return render(request, "diffraction/fractions.html", {"form": form}, status=422 if form.errors else 200)


@require_POST
@needs("patterns.add")
def fractions_of(request: HttpRequest, pk: int) -> HttpResponse:
    """Bring phase fractions for a pattern from elsewhere."""
    one = _find(request, pk)
    form = FractionsForm(request.POST, request.FILES)
    if form.is_valid() and _give(request, form, pattern=one) is not None:
        messages.success(request, "The fractions are kept, and are being booked beside the fits made here.")
        return redirect("pattern", pk)
    return _page(request, one, 422, fractions_form=form)


def _give(request: HttpRequest, form: FractionsForm, **of: Any) -> Any:
    """Give fractions; on a refusal say it in the form and give nothing."""
    given = form.cleaned_data
    try:
        return actions.give_fractions(
            result=given["result"], by=request.user, source=given["source"], unit=given["unit"] or None, **of
        )
    except ValidationError as error:
        form.add_error(None, error.messages)
        return None


@require_safe
@needs("pages.see")
def together(request: HttpRequest) -> HttpResponse:
    """Show several patterns over one axis."""
    numbers = [int(n) for n in request.GET.getlist("pattern") if n.isdigit()][:MOST]
    found = {p.pk: p for p in Pattern.objects.visible_to(request.user).with_sample().filter(pk__in=numbers)}
    view, view_form = _view(request)
    how: Any = "over" if request.GET.get("how") == "over" else "stacked"
    page = dossier.together([found[n] for n in numbers if n in found], view, how)
    return render(request, "diffraction/together.html", {"page": page, "view_form": view_form})


@require_safe
@needs("files.see")
def result_cif(request: HttpRequest, pk: int) -> HttpResponse:
    """Give a fit with the names of powder CIF."""
    from teardown.diffraction.dossier.exported import as_cif

    one = _find_fit(request, pk)
    return _download(as_cif(one), "chemical/x-cif", f"fit-{one.pk}.cif")


@require_safe
@needs("files.see")
def curves_csv(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the curves of a fit as a table."""
    from teardown.diffraction.dossier.exported import curves_as_csv

    one = _find_fit(request, pk)
    if not one.curves:
        raise Http404("This result has no curves.")
    return _download(curves_as_csv(one), "text/csv", f"fit-{one.pk}.csv")


def _download(text: str, kind: str, name: str) -> HttpResponse:
    return HttpResponse(
        text,
        content_type=f"{kind}; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )
