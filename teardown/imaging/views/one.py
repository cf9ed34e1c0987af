"""One micrograph on the screen: its numbers, its scale, outlines, sample, and the word on it."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from teardown.accounts.roles import needs
from teardown.imaging import actions, dossier, store
from teardown.imaging.dossier.coverage import in_coverage
from teardown.imaging.dossier.open_points import strip_rows
from teardown.imaging.forms import RegionForm, ReviewForm, ScaleForm, TieForm
from teardown.imaging.models import Micrograph, ScaleClaim, SectionResult
from teardown.imaging.runs import standing, tie_of
from teardown.science.errors import Refusal


def find(request: HttpRequest, pk: int) -> Micrograph:
    """Find a micrograph that this person may see."""
    seen = Micrograph.objects.visible_to(request.user).select_related("receipt__file", "session", "by")
    return get_object_or_404(seen, pk=pk)


def show(request: HttpRequest, one: Micrograph, status: int = 200, **forms: Any) -> HttpResponse:
    """Show the page of a micrograph, with whichever form came back."""
    context = {
        "page": dossier.page_of(one, request.user),
        "scale_form": ScaleForm(),
        "tie_form": TieForm(),
        "refused": "",
        "coverage": in_coverage(one, request.user),
    }
    return render(request, "imaging/micrograph.html", context | forms, status=status)


def words(form: Any) -> str:
    """Give what is wrong with a form in one line."""
    return " ".join(str(error) for errors in form.errors.values() for error in errors)


@require_safe
@needs("pages.see")
def micrograph(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one micrograph."""
    return show(request, find(request, pk))


@require_safe
@needs("pages.see")
def measured(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the numbers alone: asked again while the work goes on."""
    page = dossier.page_of(find(request, pk), request.user)
    answer = render(request, "imaging/_measured.html", {"page": page})
    if request.headers.get("HX-Request") and (page.pending is None or page.pending.state == "failed"):
        answer["HX-Refresh"] = "true"  # the classes over the picture and the history follow the new result
    return answer


@require_POST
@needs("micrographs.add")
def scale(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a scale."""
    one = find(request, pk)
    form = ScaleForm(request.POST)
    if not form.is_valid():
        return show(request, one, 422, scale_form=form, refused=words(form))
    given = form.cleaned_data
    if given.get("claim"):
        chosen = get_object_or_404(ScaleClaim, pk=given["claim"], micrograph=one)
        actions.choose_claim(chosen=chosen, by=request.user)
        messages.success(request, f"A pixel is {chosen.pixel_width_um:.4g} µm; lengths follow.")
        return redirect("micrograph", pk)
    evidence = {name: float(given[name]) for name in ("bar_um", "bar_px") if given.get(name)}
    actions.claim_scale(
        micrograph=one,
        pixel_size_um=given["size"],
        source=given["source"],
        evidence=evidence,
        by=request.user,
    )
    messages.success(request, f"A pixel is {given['size']:.4g} µm; lengths follow.")
    return redirect("micrograph", pk)


@require_safe
@needs("micrographs.add")
def bar(request: HttpRequest, pk: int) -> HttpResponse:
    """Propose the two ends of the scale bar in the information strip; its length a person reads."""
    one = find(request, pk)
    rows = strip_rows(one, standing([one]).get(pk))
    if rows is None:
        return JsonResponse({"refused": "No information strip is known of this picture."}, status=422)
    try:
        return JsonResponse(store.bar_in(one, rows))
    except Refusal as refusal:
        return JsonResponse({"refused": str(refusal)}, status=422)


@require_POST
@needs("micrographs.add")
def region(request: HttpRequest, pk: int) -> HttpResponse:
    """Take an outline."""
    one = find(request, pk)
    form = RegionForm(request.POST)
    if not form.is_valid():
        return show(request, one, 422, refused=words(form))
    given = form.cleaned_data
    later = given.pop("later")
    try:
        actions.draw_region(micrograph=one, by=request.user, measure=not later, **given)
    except ValidationError as error:
        return show(request, one, 422, refused=" ".join(error.messages))
    if later:
        messages.success(request, "Kept. Draw on, and have the picture measured when all is drawn.")
    elif one.kind != Micrograph.Kind.SECTION:
        messages.success(request, "Kept.")
    else:
        messages.success(request, "Kept; the picture is measured again with it.")
    return redirect("micrograph", pk)


@require_POST
@needs("micrographs.add")
def pages(request: HttpRequest, pk: int) -> HttpResponse:
    """Bring the other pages of the file."""
    one = find(request, pk)
    try:
        made = actions.bring_pages(micrograph=one, by=request.user)
    except ValidationError as error:
        return show(request, one, 422, refused=" ".join(error.messages))
    more = "s" if len(made) > 1 else ""
    messages.success(request, f"{len(made)} more page{more} brought and being measured.")
    return redirect("micrograph", pk)


@require_POST
@needs("measures.review")
def judge(request: HttpRequest, pk: int) -> HttpResponse:
    """Accept or reject what was measured."""
    one = find(request, pk)
    form = ReviewForm(request.POST)
    result = get_object_or_404(SectionResult, micrograph=one, run=request.POST.get("run") or 0)
    if not form.is_valid():
        return show(request, one, 422, refused=words(form))
    try:
        actions.review(result=result, by=request.user, **form.cleaned_data)
    except ValidationError as error:
        return show(request, one, 422, refused=" ".join(error.messages))
    return redirect("micrograph", pk)


@require_POST
@needs("measures.review")
def coverage(request: HttpRequest, pk: int) -> HttpResponse:
    """Count the sample's fields of sections with an artefact in its coverage, or leave them out again."""
    one = find(request, pk)
    tied = tie_of(one)
    if tied is None or tied.sample is None:
        return show(request, one, 422, refused="The picture is tied to no sample yet. Tie it first, below.")
    count = request.POST.get("count") == "yes"
    try:
        actions.choose_coverage(
            sample=tied.sample, count=count, reason=request.POST.get("reason", ""), by=request.user
        )
    except ValidationError as error:
        return show(request, one, 422, refused=" ".join(error.messages))
    return redirect("micrograph", pk)


@require_POST
@needs("measures.run")
def again(request: HttpRequest, pk: int) -> HttpResponse:
    """Have it measured as things are known now."""
    actions.measure_again(micrographs=[find(request, pk)], by=request.user)
    return redirect("micrograph", pk)


@require_POST
@needs("micrographs.add")
def tie_to(request: HttpRequest, pk: int) -> HttpResponse:
    """Say which sample it shows."""
    one = find(request, pk)
    form = TieForm(request.POST)
    if not form.is_valid():
        return show(request, one, 422, tie_form=form)
    try:
        actions.tie(
            micrographs=[one],
            sample=form.cleaned_data["sample"],
            reason=form.cleaned_data["reason"],
            by=request.user,
        )
    except ValidationError as error:
        form.add_error("reason", error)
        return show(request, one, 422, tie_form=form)
    return redirect("micrograph", pk)
