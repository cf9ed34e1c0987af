"""Samples: the list, one of them with its way, cutting, handing on, mounts, orders, labels."""

import uuid
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from teardown.accounts.models import SignedIn
from teardown.accounts.roles import needs
from teardown.cells.models import Cell
from teardown.dissection import actions
from teardown.dissection.dossier.cards import part_buttons
from teardown.dissection.dossier.labels import SIZES, Label, label_of, labels_pdf
from teardown.dissection.dossier.photograph import photograph_shown
from teardown.dissection.dossier.samples import sample_shown, samples_visible
from teardown.dissection.filters import SampleFilter
from teardown.dissection.forms import (
    BackForm,
    CutForm,
    HandOverForm,
    LabelsForm,
    MountForm,
    OrderForm,
    PolishForm,
)
from teardown.dissection.forms.marks import PieceOutlineForm
from teardown.dissection.models import Dissection, Mount, Order, Photograph, Sample
from teardown.dissection.rules.codes import NotACode, make_code, read_code
from teardown.dissection.views.bench import find
from teardown.dissection.views.photographs import visible

MOST_LABELS = 500


@require_GET
@needs("pages.see")
def samples(request: SignedIn) -> HttpResponse:
    """List samples, filtered by the address."""
    today = timezone.localdate()
    chosen = SampleFilter(request.GET, queryset=samples_visible(request.user), request=request)
    page = Paginator(chosen.qs, 50).get_page(request.GET.get("page"))
    overdue = Order.objects.overdue(today).filter(sample__in=samples_visible(request.user).values("pk"))
    return render(request, "dissection/samples.html", {
        "filter": chosen, "page": page, "today": today,
        "overdue": overdue.select_related("sample", "technique"),
    })  # fmt: skip


@require_GET
@needs("pages.see")
def sample_read(request: SignedIn) -> HttpResponse:
    """Go to the sample whose code was scanned or typed."""
    try:
        return redirect("sample", read_code(request.GET.get("code", "")))
    except NotACode as error:
        messages.error(request, str(error))
        return redirect("samples")


def _sample(request: SignedIn, code: str) -> Sample:
    return get_object_or_404(samples_visible(request.user), code=code)


@require_GET
@needs("pages.see")
def sample(request: SignedIn, code: str) -> HttpResponse:
    """Show one sample: whence, what was seen of it, where it went, what was made of it."""
    shown = sample_shown(_sample(request, code))
    forms = {"hand_over": HandOverForm(), "order": OrderForm(), "mount": MountForm(), "polish": PolishForm()}
    return render(request, "dissection/sample.html", {"shown": shown, "back": BackForm()} | forms)


@needs("samples.cut")
def sample_cut(request: SignedIn, code: str) -> HttpResponse:
    """Cut and name a piece of a cell."""
    dissection = find(request, code)
    form = CutForm(request.POST or None, parts=part_buttons(dissection), initial=request.GET.dict())
    drawn = PieceOutlineForm(request.POST or None, initial=request.GET.dict())
    photograph = _photograph(request, dissection)
    if request.method == "POST" and form.is_valid() and drawn.is_valid():
        try:
            piece = _cut(form.cleaned_data, dissection, request, photograph, drawn.cleaned_data["points"])
        except ValidationError as error:
            form.add_error(None, error.messages)
        else:
            messages.success(request, f"Sample {piece.code} is named.")
            return redirect("sample", piece.code)
    return render(request, "dissection/cut.html", {
        "form": form, "drawn": drawn, "cell": dissection.cell, "dissection": dissection,
        "shown": photograph_shown(photograph) if photograph else None,
        "photographs": [] if photograph else visible(request).filter(dissection=dissection).evidence()[:12],
    })  # fmt: skip


def _photograph(request: SignedIn, dissection: Dissection) -> Photograph | None:
    """Find the photograph of this cell on which the piece is outlined, if one was chosen."""
    key = request.POST.get("photograph") or request.GET.get("photograph", "")
    try:
        return visible(request).filter(dissection=dissection, key=uuid.UUID(key)).first() if key else None
    except ValueError:
        return None


def _cut(
    said: dict[str, Any],
    dissection: Dissection,
    request: SignedIn,
    photograph: Photograph | None,
    points: list[tuple[float, float]],
) -> Sample:
    component, _, number = said.pop("component").partition(" ")
    code = said.pop("parent")
    parent = _sample(request, code) if code else None
    to_place = said.pop("to_place")
    if photograph is not None and points and not said["place"]:
        said["place"] = actions.place_of_outline(photograph=photograph, points=points)
    with transaction.atomic():
        piece = actions.cut_sample(
            dissection=dissection,
            component=component,
            number=int(number or 1),
            parent=parent,
            by=request.user,
            **said,
        )
        if to_place:
            actions.hand_over(sample=piece, to_place=to_place, by=request.user)
        if photograph is not None and points:
            actions.outline_piece(sample=piece, photograph=photograph, points=points, by=request.user)
    return piece


def _deed(request: SignedIn, code: str, form: Any, deed: Any) -> HttpResponse:
    """Do a deed of a filled-in form, or say why not; go back to the sample."""
    problems = [f"{form.fields[name].label if name in form.fields else ''} {' '.join(said)}".strip()
                for name, said in form.errors.items()]  # fmt: skip
    if not problems:
        try:
            deed(form.cleaned_data)
        except ValidationError as error:
            problems = error.messages
    for sentence in problems:
        messages.error(request, sentence)
    return redirect("sample", code)


@require_POST
@needs("custody.move")
def sample_hand_over(request: SignedIn, code: str) -> HttpResponse:
    """Hand a sample on."""
    piece = _sample(request, code)
    form = HandOverForm(request.POST)
    return _deed(request, code, form, lambda said: actions.hand_over(sample=piece, by=request.user, **said))


@require_POST
@needs("custody.move")
def sample_send(request: SignedIn, code: str) -> HttpResponse:
    """Send a sample to a technique."""
    piece = _sample(request, code)
    form = OrderForm(request.POST)
    return _deed(
        request, code, form, lambda said: actions.send_orders(samples=[piece], by=request.user, **said)
    )


@require_POST
@needs("custody.move")
def order_back(request: SignedIn, pk: int) -> HttpResponse:
    """Note what came of an order."""
    order = get_object_or_404(
        Order.objects.filter(sample__in=samples_visible(request.user).values("pk")), pk=pk
    )
    form = BackForm(request.POST)
    seen = int(request.POST["seen"]) if request.POST.get("seen", "").isdigit() else None
    return _deed(
        request, order.sample.code, form,
        lambda said: actions.receive_order(order=order, by=request.user, seen=seen, **said),
    )  # fmt: skip


@require_POST
@needs("samples.cut")
def sample_mount(request: SignedIn, code: str) -> HttpResponse:
    """Put a sample into resin."""
    piece = _sample(request, code)
    return _deed(
        request, code, MountForm(request.POST),
        lambda said: actions.mount_samples(
            samples=[(piece, said.pop("orientation"))], by=request.user, **said
        ),
    )  # fmt: skip


@require_POST
@needs("samples.cut")
def mount_polish(request: SignedIn, code: str) -> HttpResponse:
    """Polish a mount: a new plane."""
    mount = get_object_or_404(
        Mount, code=code, contents__sample__in=samples_visible(request.user).values("pk")
    )
    content = mount.contents.select_related("sample").first()
    back = content.sample.code if content else ""

    def polish(said: dict[str, Any]) -> None:
        stage = {name: said[name] for name in ("abrasive", "size_um", "lubricant")}
        actions.polish(
            mount=mount, stages=[stage], artefacts=said["artefacts"], by=request.user,
            depth_removed_um=said["depth_removed_um"],
        )  # fmt: skip

    return _deed(request, back, PolishForm(request.POST), polish)


@needs("samples.cut")
def labels(request: SignedIn) -> HttpResponse:
    """Print labels: of samples that are there, or new codes for pieces to come."""
    form = LabelsForm(request.GET if "size" in request.GET else None, initial=request.GET.dict())
    if form.is_bound and form.is_valid():
        try:
            found = _labels(form.cleaned_data, request)
            if not 0 < len(found) <= MOST_LABELS:
                raise ValidationError(f"Choose 1 to {MOST_LABELS} labels; these are {len(found)}.")
        except (ValidationError, NotACode) as error:
            form.add_error("codes", str(error) if isinstance(error, NotACode) else error)
        else:
            response = HttpResponse(
                labels_pdf(found, SIZES[form.cleaned_data["size"]]), content_type="application/pdf"
            )
            response["Content-Disposition"] = 'attachment; filename="labels.pdf"'
            return response
    return render(request, "dissection/labels.html", {"form": form})


def _labels(said: dict[str, Any], request: SignedIn) -> list[Label]:
    codes = [read_code(line) for line in said["codes"].splitlines() if line.strip()]
    there = {piece.code: piece for piece in samples_visible(request.user).filter(code__in=codes)}
    missing = [code for code in codes if code not in there]
    if missing:
        raise ValidationError(f"There is no sample {', '.join(missing)}.")
    found = [label_of(there[code]) for code in codes]
    cell = Cell.objects.visible_to(request.user).filter(code__iexact=said["cell"].strip()).first()
    if said["cell"].strip() and cell is None:
        raise ValidationError(f"There is no cell {said['cell']}.")
    lines = _planned(cell) if cell else []
    fresh = int(said["fresh"] or 0) or (len(lines) if not codes else 0)
    for number in range(fresh):
        line = lines[number] if number < len(lines) else (cell.code if cell else "")
        found.append(Label(make_code(), line))
    return found


def _planned(cell: Cell) -> list[str]:
    plan = getattr(cell, "plan", None)
    items = plan.items.select_related("component", "technique") if plan else []
    return [f"{cell.code} {item.component} {item.place}: {item.technique}" for item in items]
