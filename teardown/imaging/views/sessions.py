"""Microscope sessions on the screen."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.db import models as db
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from teardown.accounts.roles import demand, needs
from teardown.imaging import actions, dossier, store
from teardown.imaging.filters import MicrographFilter
from teardown.imaging.forms import LevelsForm, PlaceForm, SessionForm
from teardown.imaging.models import ImagingSession, Micrograph
from teardown.imaging.runs import standing
from teardown.imaging.views.one import find, words
from teardown.page.trying import tried
from teardown.science.errors import Refusal

PAGE = 40


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
    """Show one sitting: what levels its fields show, which are pinned; pin them, typed or clicked."""
    found = get_object_or_404(ImagingSession, pk=pk)
    shown = dossier.session_of(found, request.user)
    form = LevelsForm(request.POST or None, initial=shown.proposed)
    if request.method == "POST":
        demand(request.user, "micrographs.add")
        if tried(form, lambda: _pin(found, form.cleaned_data, request.user)) is not None:
            messages.success(request, "The levels are pinned; the session’s fields are measured with them.")
            return redirect("imaging_session", pk)
    return render(request, "imaging/session.html", {"page": shown, "form": form})


def _pin(found: ImagingSession, given: dict[str, Any], by: Any) -> Any:
    evidence = given.pop("evidence")
    greys = {key: float(value) for key, value in given.items() if value is not None}
    source = "clicked" if evidence else "confirmed"
    return actions.pin_levels(session=found, by=by, source=source, evidence=evidence, **greys)


@require_POST
@needs("micrographs.add")
def session_reference(request: HttpRequest, pk: int) -> HttpResponse:
    """Name the reference field of a session."""
    found = get_object_or_404(ImagingSession, pk=pk)
    number = request.POST.get("micrograph", "")
    wanted = int(number) if number.isdecimal() and len(number) < 18 else 0
    micrograph = get_object_or_404(Micrograph.objects.visible_to(request.user), pk=wanted)
    try:
        actions.name_reference(session=found, micrograph=micrograph, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, f"{micrograph} is the reference of this session.")
    return redirect("imaging_session", pk)


@require_POST
@needs("micrographs.add")
def session_of_one(request: HttpRequest, pk: int) -> HttpResponse:
    """Name the session of a micrograph that has none, or move it to another."""
    one = find(request, pk)
    _name(request, [one], move=one.session_id is not None)
    return redirect("micrograph", pk)


@require_POST
@needs("micrographs.add")
def session_of_listed(request: HttpRequest) -> HttpResponse:
    """Name the session of all micrographs of a list that have none; with a reason, move the others too."""
    seen = Micrograph.objects.visible_to(request.user)
    listed = list(MicrographFilter(request.GET, queryset=seen).qs.distinct())
    if "back" in request.POST:
        _move_back(request, listed)
        return redirect(f"{reverse('micrographs')}?{request.GET.urlencode()}")
    _name(request, listed, move=bool(request.POST.get("reason", "").strip()))
    return redirect(f"{reverse('micrographs')}?{request.GET.urlencode()}")


def _move_back(request: HttpRequest, micrographs: list[Micrograph]) -> None:
    try:
        moved = actions.move_back(
            micrographs=micrographs, reason=request.POST.get("reason", "")[:200], by=request.user
        )
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, f"{len(moved)} are of the session again that they were of before.")


def _name(request: HttpRequest, micrographs: list[Micrograph], *, move: bool) -> None:
    form = SessionForm(request.POST)
    if not form.is_valid():
        messages.error(request, words(form))
        return
    name, reason = form.cleaned_data["session"], form.cleaned_data["reason"]
    try:
        if move:
            moved = actions.move_session(micrographs=micrographs, name=name, reason=reason, by=request.user)
            where = f"Session {name}: {len(moved)} moved into it." if name else f"{len(moved)} of no session."
            messages.success(request, f"{where} What was measured before stays.")
            return
        named = actions.name_session(micrographs=micrographs, name=name, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, f"Session {name}: {named} put into it.")


@require_safe
@needs("pages.see")
def grey(request: HttpRequest, pk: int) -> HttpResponse:
    """Tell the grey of a place, as levels are told."""
    one = find(request, pk)
    form = PlaceForm(request.GET)
    result = standing([one]).get(one.pk)
    if result is None or not form.is_valid():
        told = words(form) or "The field must be measured once before greys can be read off it."
        return JsonResponse({"refused": told}, status=422)
    try:
        return JsonResponse(store.grey_at(one, result, form.cleaned_data["x"], form.cleaned_data["y"]))
    except Refusal as refusal:
        return JsonResponse({"refused": str(refusal)}, status=422)
