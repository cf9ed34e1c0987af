"""Photographs: the list, one of them with its label, its small pictures; late observations from them."""

import hashlib

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.db.models import Q
from django.http import HttpResponse, HttpResponseNotFound
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_GET, require_POST

from teardown.accounts.models import SignedIn
from teardown.accounts.roles import demand, needs
from teardown.dissection import actions
from teardown.dissection.dossier.cards import part_buttons
from teardown.dissection.dossier.photograph import photograph_shown
from teardown.dissection.filters import PhotographFilter
from teardown.dissection.forms import LabelPhotoForm
from teardown.dissection.forms.marks import CornersForm, OutlineForm, PlaceForm
from teardown.dissection.models import Dissection, Photograph
from teardown.dissection.models.photographs import PhotographQuerySet
from teardown.dissection.store import preview
from teardown.dissection.views.bench import find
from teardown.formats.preview import SMALL_PX

WIDTHS = {"small": SMALL_PX, "large": 1600}


def visible(request: SignedIn) -> PhotographQuerySet:
    """Give the photographs of cells that this person may see, and of no cell yet to those of the house."""
    seen = Dissection.objects.visible_to(request.user)
    mine = Q(dissection__in=seen)
    if request.user.may("cells.see_open"):
        mine |= Q(dissection__isnull=True)
    return Photograph.objects.filter(mine).with_labels().order_by("-pk")


@require_GET
@needs("pages.see")
def photographs(request: SignedIn) -> HttpResponse:
    """List photographs, filtered by the address; what is no evidence is hidden by default."""
    rows = visible(request)
    if request.GET.get("hidden") != "on":
        rows = rows.evidence()
    chosen = PhotographFilter(request.GET, queryset=rows, request=request)
    page = Paginator(chosen.qs, 48).get_page(request.GET.get("page"))
    return render(request, "dissection/photographs.html", {"filter": chosen, "page": page})


@needs("pages.see")
def photograph(request: SignedIn, key: str) -> HttpResponse:
    """Show one photograph; say what it shows."""
    shown = get_object_or_404(visible(request), key=key)
    parts = part_buttons(shown.dissection) if shown.dissection else []
    label = shown.label
    initial = {name: getattr(label, name, "") for name in ("place", "frame", "caption", "not_evidence")}
    if label and label.part:
        initial["part"] = f"{label.part.component.key} {label.part.number}"
    form = LabelPhotoForm(request.POST or None, parts=parts, initial=initial)
    if request.method == "POST":
        demand(request.user, "entries.add")
        if form.is_valid() and _label(request, shown, form):
            left = visible(request).unlabelled().filter(dissection=shown.dissection)
            following = left.filter(pk__lt=shown.pk).first() or left.first()  # as the list goes on
            return redirect("photograph", following.key if following and label is None else shown.key)
    return render(request, "dissection/photograph.html", {
        "photograph": shown, "shown": photograph_shown(shown), "form": form,
        "corners": CornersForm(parts=parts, auto_id="corners-%s"), "place": PlaceForm(auto_id="place-%s"),
        "outline": OutlineForm(photograph=shown, auto_id="outline-%s"),
    })  # fmt: skip


def _label(request: SignedIn, shown: Photograph, form: LabelPhotoForm) -> bool:
    said = dict(form.cleaned_data)
    component, _, number = said.pop("part").partition(" ")
    try:
        actions.label_photograph(
            photograph=shown, component=component, number=int(number or 1), by=request.user, **said
        )
    except ValidationError as error:
        form.add_error(None, error.messages)
        return False
    messages.success(request, "Labelled.")
    return True


@require_GET
@needs("pages.see")
@cache_control(private=True, max_age=86400)
def photograph_picture(request: SignedIn, key: str, size: str) -> HttpResponse:
    """Serve a small picture, drawn anew from the original; the original itself is a download."""
    shown = get_object_or_404(visible(request), key=key)
    if size not in WIDTHS:
        return HttpResponseNotFound("There is no such size.")
    drawn = preview(shown, WIDTHS[size])
    if drawn is None:
        return HttpResponseNotFound("No picture can be drawn of it; the original can be downloaded.")
    response = HttpResponse(drawn, content_type="image/jpeg")
    response["ETag"] = f'"{hashlib.sha256(drawn).hexdigest()[:32]}"'
    return response


@require_POST
@needs("entries.add")
def photograph_add(request: SignedIn, code: str) -> HttpResponse:
    """Take photographs from a file picker."""
    dissection = find(request, code)
    kept = 0
    for file in request.FILES.getlist("file"):
        try:
            actions.add_photograph(
                file=file, by=request.user, dissection=dissection, step=request.POST.get("step", "")[:40]
            )
            kept += 1
        except ValidationError as error:
            messages.error(request, f"{file.name}: {' '.join(error.messages)}")
    if kept:
        messages.success(request, f"{kept} kept.")
    return redirect("bench_sheet", code)
