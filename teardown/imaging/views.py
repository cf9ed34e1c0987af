"""Micrographs on the screen: the list, bringing many at once, one image with its classes and numbers."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.db import models as db
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from teardown.accounts.roles import demand, needs
from teardown.dissection.models import Sample
from teardown.files.models import Delivery
from teardown.imaging import actions, dossier, store
from teardown.imaging.filters import MicrographFilter, running
from teardown.imaging.forms import (
    AddForm,
    CountForm,
    LevelsForm,
    RegionForm,
    ReviewForm,
    ScaleForm,
    TieForm,
)
from teardown.imaging.intake import plan, unfold
from teardown.imaging.models import Count, ImagingSession, Micrograph, SectionResult
from teardown.imaging.runs import standing

PAGE = 40
STYLES = ("fill", "hatch", "contour")
KEPT = "private, max-age=86400"


def _find(request: HttpRequest, pk: int) -> Micrograph:
    seen = Micrograph.objects.visible_to(request.user).select_related("receipt__file", "session", "by")
    return get_object_or_404(seen, pk=pk)


@require_safe
@needs("pages.see")
def micrographs(request: HttpRequest) -> HttpResponse:
    """List micrographs with where their measurement stands."""
    seen = (
        Micrograph.objects.visible_to(request.user)
        .select_related("receipt", "session")
        .prefetch_related("ties__sample")
    )
    asked = MicrographFilter(request.GET, queryset=seen)
    page = Paginator(asked.qs.distinct(), PAGE).get_page(request.GET.get("page"))
    shown = list(page.object_list)
    rows = dossier.rows_of(shown, running(shown))
    return render(request, "imaging/micrographs.html", {"filter": asked, "page": page, "rows": rows})


@needs("micrographs.add")
def add(request: HttpRequest) -> HttpResponse:
    """Bring pictures: book them at once for a named sample, else show the plan first."""
    form = AddForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        try:
            return _bring(request, form.cleaned_data)
        except ValidationError as error:
            form.add_error("pictures", error)
    return render(request, "imaging/add.html", {"form": form})


def _bring(request: HttpRequest, given: dict[str, Any]) -> HttpResponse:
    session = given["session"]
    if session is not None and session.pk is None:
        session.save()
    size = float(given["pixel_size_um"]) if given["pixel_size_um"] else None
    offered = [
        actions.Offered(one.picture, one.name, one.sample, None, one.field_number, size, one.sidecar)
        for one in plan(unfold(given["pictures"]), sample=given["sample"])
    ]
    if not offered:
        raise ValidationError("There is no TIFF, PNG or JPEG picture among these files.")
    if given["sample"] is None:
        delivery = actions.plan_pictures(offered=offered, by=request.user, session=session)
        if delivery is not None:
            return redirect("micrograph_delivery", delivery.pk)
        raise ValidationError("None of these files is a picture that can be measured.")
    added = actions.add_micrographs(offered=offered, by=request.user, session=session)
    return _told(request, added, f"?sample={given['sample'].code}")


def _told(request: HttpRequest, added: actions.Added, query: str = "") -> HttpResponse:
    """Say what came of it and go on to where it can be seen."""
    for one in added.refused:
        messages.error(request, f"{one.name} was not taken. {one.reason}")
    if added.known:
        messages.info(request, f"{len(added.known)} of the pictures are here already.")
    if added.micrographs:
        messages.success(request, f"{len(added.micrographs)} kept; cross sections are being measured.")
    everything = [*added.micrographs, *added.known]
    if len(everything) == 1:
        return redirect("micrograph", everything[0].pk)
    response = redirect("micrographs" if everything else "add_micrographs")
    if everything and query:
        response["Location"] += query
    return response


@needs("micrographs.add")
def delivery(request: HttpRequest, pk: int) -> HttpResponse:
    """Show what a drop would become; book it when confirmed."""
    found = get_object_or_404(Delivery, pk=pk, kind="imaging.micrographs", by=request.user)
    codes = {number: row["sample"] for number, row in enumerate(found.planned)}
    wrong: dict[int, str] = {}
    if request.method == "POST":
        codes = {number: request.POST.get(f"sample_{number}", "").strip() for number in codes}
        known = {
            one.code.upper(): one
            for one in Sample.objects.filter(code__in=[c.upper() for c in codes.values()])
        }
        wrong = {number: code for number, code in codes.items() if code and code.upper() not in known}
        if not wrong:
            samples = {number: known.get(code.upper()) for number, code in codes.items()}
            try:
                return _told(
                    request, actions.apply_pictures(delivery=found, samples=samples, by=request.user)
                )
            except ValidationError as error:
                messages.error(request, " ".join(error.messages))
                return redirect("micrographs")
    rows = [
        {"number": number, **row, "code": codes[number], "wrong": number in wrong}
        for number, row in enumerate(found.planned)
    ]
    return render(request, "imaging/delivery.html", {"delivery": found, "rows": rows, "wrong": wrong})


@require_safe
@needs("pages.see")
def micrograph(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one micrograph."""
    return _page(request, _find(request, pk))


def _page(request: HttpRequest, one: Micrograph, status: int = 200, **forms: Any) -> HttpResponse:
    context = {
        "page": dossier.page_of(one, request.user),
        "scale_form": ScaleForm(),
        "tie_form": TieForm(),
        "refused": "",
    }
    return render(request, "imaging/micrograph.html", context | forms, status=status)


@require_safe
@needs("pages.see")
def measured(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the numbers alone: asked again while the work goes on."""
    page = dossier.page_of(_find(request, pk), request.user)
    return render(request, "imaging/_measured.html", {"page": page})


@require_safe
@needs("pages.see")
def picture(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the picture as large as a screen."""
    return _image(store.picture_of(_find(request, pk)), "image/jpeg")


@require_safe
@needs("pages.see")
def thumbnail(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the picture, small."""
    return _image(store.thumbnail_of(_find(request, pk)), "image/jpeg")


@require_safe
@needs("pages.see")
def overlay(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the classes of the standing result as a layer over the picture."""
    one = _find(request, pk)
    result = standing([one]).get(one.pk)
    if result is None:
        raise Http404("Not measured yet.")
    response = _image(store.overlay_of(result), "image/png")
    response["Cache-Control"] = "private, no-cache"
    return response


@require_safe
@needs("pages.see")
def tile(request: HttpRequest, pk: int, level: int, column: int, row: int) -> HttpResponse:
    """Give one tile of the picture."""
    content = store.tile_of(store.pyramid_of(_find(request, pk)), level, column, row)
    if content is None:
        raise Http404("Outside the picture.")
    return _image(content, "image/jpeg")


@require_safe
@needs("pages.see")
def class_tile(
    request: HttpRequest, pk: int, run: int, style: str, level: int, column: int, row: int
) -> HttpResponse:
    """Give one tile of the classes that a run found."""
    if style not in STYLES:
        raise Http404("No such style.")
    one = _find(request, pk)
    result = get_object_or_404(SectionResult.objects.select_related("class_map"), micrograph=one, run=run)
    content = store.tile_of(store.classes_of(result), level, column, row, style)
    if content is None:
        raise Http404("Outside the picture.")
    return _image(content, "image/png")


def _image(content: bytes, kind: str) -> HttpResponse:
    return HttpResponse(content, content_type=kind, headers={"Cache-Control": KEPT})


def _words(form: Any) -> str:
    return " ".join(str(error) for errors in form.errors.values() for error in errors)


@require_POST
@needs("micrographs.add")
def scale(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a scale."""
    one = _find(request, pk)
    form = ScaleForm(request.POST)
    if not form.is_valid():
        return _page(request, one, 422, scale_form=form)
    given = form.cleaned_data
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


@require_POST
@needs("micrographs.add")
def region(request: HttpRequest, pk: int) -> HttpResponse:
    """Take an outline."""
    one = _find(request, pk)
    form = RegionForm(request.POST)
    if not form.is_valid():
        return _page(request, one, 422, refused=_words(form))
    try:
        actions.draw_region(micrograph=one, by=request.user, **form.cleaned_data)
    except ValidationError as error:
        return _page(request, one, 422, refused=" ".join(error.messages))
    messages.success(request, "Kept; the picture is measured again with it.")
    return redirect("micrograph", pk)


@require_POST
@needs("measures.review")
def judge(request: HttpRequest, pk: int) -> HttpResponse:
    """Accept or reject what was measured."""
    one = _find(request, pk)
    form = ReviewForm(request.POST)
    result = get_object_or_404(SectionResult, micrograph=one, run=request.POST.get("run") or 0)
    if not form.is_valid():
        return _page(request, one, 422, refused=_words(form))
    try:
        actions.review(result=result, by=request.user, **form.cleaned_data)
    except ValidationError as error:
        return _page(request, one, 422, refused=" ".join(error.messages))
    return redirect("micrograph", pk)


@require_POST
@needs("measures.run")
def again(request: HttpRequest, pk: int) -> HttpResponse:
    """Have it measured as things are known now."""
    actions.measure_again(micrographs=[_find(request, pk)], by=request.user)
    return redirect("micrograph", pk)


@needs("measures.review")
def count(request: HttpRequest, pk: int, kind: str) -> HttpResponse:
    """Count by eye: points of a grid, or crossings, one after the other; their places are set before
    looking."""
    one = _find(request, pk)
    if kind not in Count.Kind.values:
        raise Http404("No such count.")
    if request.method == "POST":
        form = CountForm(request.POST)
        if not form.is_valid():
            return _page(request, one, 422, refused=_words(form))
        try:
            actions.add_count(micrograph=one, kind=kind, by=request.user, **form.cleaned_data)
        except ValidationError as error:
            return _page(request, one, 422, refused=" ".join(error.messages))
        messages.success(request, "The count is kept.")
        return redirect(f"{reverse('micrograph', args=[pk])}#counts")
    # the seed follows from how many counts there are, so that nobody picks a grid that suits
    seed = one.pk * 1000 + one.counts.filter(kind=kind).count()
    result = standing([one]).get(one.pk)
    places = store.places_of(one, kind, seed, result)
    answers = actions.ANSWERS if kind == "points" else ("oxide", "pore", "cannot tell")
    context = {
        "micrograph": one,
        "kind": kind,
        "seed": seed,
        "places": places,
        "answers": [(str(number), answer) for number, answer in enumerate(answers, start=1)],
        "levels": dossier.count_levels(one.width_px, one.height_px),
    }
    return render(request, "imaging/count.html", context)


@require_safe
@needs("pages.see")
def sessions(request: HttpRequest) -> HttpResponse:
    """List the sittings at the microscope."""
    found = (
        ImagingSession.objects.annotate(fields=db.Count("micrographs"))
        .prefetch_related("levels")
        .order_by("-pk")
    )
    page = Paginator(found, PAGE).get_page(request.GET.get("page"))
    return render(request, "imaging/sessions.html", {"page": page})


@needs("pages.see")
def session(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one sitting: what levels its fields show, which are pinned; pin them."""
    found = get_object_or_404(ImagingSession, pk=pk)
    shown = dossier.session_of(found, request.user)
    form = LevelsForm(request.POST or None, initial=shown.proposed)
    if request.method == "POST":
        demand(request.user, "micrographs.add")
        if form.is_valid():
            greys: dict[str, Any] = {
                key: float(value) for key, value in form.cleaned_data.items() if value is not None
            }
            try:
                actions.pin_levels(session=found, by=request.user, **greys)
            except ValidationError as error:
                form.add_error(None, error)
            else:
                messages.success(
                    request, "The levels are pinned; the session's fields are measured with them."
                )
                return redirect("imaging_session", pk)
    return render(request, "imaging/session.html", {"page": shown, "form": form})


@require_POST
@needs("measures.run")
def again_all(request: HttpRequest) -> HttpResponse:
    """Have all cross sections of the list measured as things are known now: those that the address asks
    for."""
    seen = Micrograph.objects.visible_to(request.user).select_related("receipt__file", "session")
    asked = MicrographFilter(request.GET, queryset=seen)
    shown = list(asked.qs.filter(kind=Micrograph.Kind.SECTION).distinct())
    actions.measure_again(micrographs=shown, by=request.user)
    messages.success(request, f"{len(shown)} are measured again in the background; what was measured stays.")
    response = redirect("micrographs")
    response["Location"] += f"?{request.GET.urlencode()}" if request.GET else ""
    return response


@require_POST
@needs("micrographs.add")
def tie_to(request: HttpRequest, pk: int) -> HttpResponse:
    """Say which sample it shows."""
    one = _find(request, pk)
    form = TieForm(request.POST)
    if not form.is_valid():
        return _page(request, one, 422, tie_form=form)
    try:
        actions.tie(
            micrographs=[one],
            sample=form.cleaned_data["sample"],
            reason=form.cleaned_data["reason"],
            by=request.user,
        )
    except ValidationError as error:
        form.add_error("reason", error)
        return _page(request, one, 422, tie_form=form)
    return redirect("micrograph", pk)
