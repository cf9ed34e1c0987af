"""The bench: today's cells, one dissection as cards or as a sheet, the plan before, the signature after."""

from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.staticfiles import finders
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.views.decorators.http import require_GET, require_POST

from teardown.accounts.models import SignedIn
from teardown.accounts.roles import needs
from teardown.cells.actions import cell_once_called
from teardown.cells.models import Cell
from teardown.dissection import actions
from teardown.dissection.dossier import cards as dossier
from teardown.dissection.dossier.day import day_at_the_bench, strip
from teardown.dissection.dossier.dealing import beside, dealt
from teardown.dissection.dossier.drawing import blank
from teardown.dissection.dossier.sheet import sheet_of
from teardown.dissection.forms import CloseForm, PlanForm
from teardown.dissection.forms.signing import SignLaterForm
from teardown.dissection.models import Dissection, Entry
from teardown.dissection.models.closing import last_signature, later_entries, open_points, weighing_of
from teardown.dissection.rules.cards import BY_KEY, CARDS
from teardown.dissection.rules.cautions import HEADER
from teardown.dissection.schemas import item_of_post, items_of_sheet


def find(request: SignedIn, code: str) -> Dissection:
    """Find the dissection of a cell that this person may see."""
    rows = Dissection.objects.visible_to(request.user).select_related("cell__build__revision__recipe")
    return get_object_or_404(rows, cell__code=code)


@needs("entries.add")
@require_GET
def bench(request: SignedIn) -> HttpResponse:
    """Show today's cells, and one step across all of them."""
    day = day_at_the_bench(request.user, timezone.localdate())
    step = request.GET.get("step", "")
    shown = strip([row.dissection for row in day.rows], step) if step in BY_KEY else None
    context = {"day": day, "strip": shown, "steps": CARDS, "step": step}
    return render(request, "dissection/bench.html", context)


@require_POST
@needs("dissection.start")
def bench_begin(request: SignedIn) -> HttpResponse:
    """Begin the dissection of a cell."""
    code = request.POST.get("cell", "").strip()
    cell = Cell.objects.filter(code__iexact=code).first() or cell_once_called(code)
    try:
        if cell is None:
            raise ValidationError(
                f"There is no cell {code}. Look at the label again." if code else "Name the cell."
            )
        actions.start_dissection(cell=cell, by=request.user, day=timezone.localdate())
    except ValidationError as error:
        if cell is not None and Dissection.objects.filter(cell=cell).exists():
            return redirect("bench_cell", cell.code)
        for sentence in error.messages:
            messages.error(request, sentence)
        return redirect("bench")
    return redirect("bench_cell", cell.code)


@require_POST
@needs("entries.add")
def bench_strip(request: SignedIn) -> HttpResponse:
    """Keep one step across several cells."""
    step = request.POST.get("step", "")
    kept = 0
    for code, items in items_of_sheet(request.POST).items():
        outcomes = actions.log_entries(dissection=find(request, code), items=items, by=request.user)
        kept += _tell(request, outcomes, code)
    if kept:
        messages.success(request, f"{kept} kept.")
    return redirect(f"{reverse('bench')}?{urlencode({'step': step})}")


def _tell(request: SignedIn, outcomes: list[actions.Outcome], code: str) -> int:
    for outcome in outcomes:
        for sentence in outcome.sentences:
            messages.error(request, f"{code}: {sentence}")
    return sum(outcome.kept for outcome in outcomes)


@needs("entries.add")
def bench_cell(request: SignedIn, code: str) -> HttpResponse:
    """Show the cards of one dissection; take one answer where the page has no script."""
    dissection = find(request, code)
    if request.method == "POST":
        return _answer(request, dissection)
    about = dossier.About(
        place=request.GET.get("place", ""),
        component=request.GET.get("component", ""),
        number=int(request.GET.get("number", "1") or 1) if request.GET.get("number", "1").isdigit() else 1,
        sample=request.GET.get("sample", ""),
    )
    stack = dealt(dossier.stack(dissection, about))
    here = stack.shown(request.GET.get("card", ""))
    actions.show_cautions(dissection=dissection, step=here.card.cautions, by=request.user)
    return render(request, "dissection/bench_cell.html", {
        "stack": stack, "here": here, "about": about, "dissection": dissection, "cell": dissection.cell,
        "plates": [blank(dissection.cell, face) for face in "AB"],
        "faces": dossier.faces(stack.grid, stack.entries, here.card.step), "zones": dossier.zones(),
        "parts": dossier.part_buttons(dissection), "vials": dossier.vials(dissection),
        "after": beside(stack, here.card.key), "header": HEADER, "field": request.GET.get("field", ""),
        "known": [dossier.wire(entry) for entry in stack.entries],
        "reasons": dossier.not_done_reasons(), "people": dossier.people(),
        "set_ups": dossier.set_ups(dissection),
    })  # fmt: skip


def _answer(request: SignedIn, dissection: Dissection) -> HttpResponse:
    here = {name: request.POST.get(name, "") for name in ("card", "place", "component", "number", "sample")}
    where = urlencode({name: value for name, value in here.items() if value})
    back = f"{reverse('bench_cell', args=[dissection.cell.code])}?{where}"
    try:
        if request.POST.get("all") and here["card"]:
            said = item_of_post(request.POST)
            outcomes = actions.all_the_same(dissection=dissection, by=request.user, **said)
        else:
            outcomes = actions.log_entries(
                dissection=dissection, items=[item_of_post(request.POST)], by=request.user
            )
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect(back)
    refused = [sentence for outcome in outcomes for sentence in outcome.sentences]
    for sentence in dict.fromkeys(refused):
        messages.error(request, sentence)
    if refused:
        unusual = any(outcome.state == "unusual" for outcome in outcomes)
        asked = {"field": request.POST.get("term", "")} | (
            {"unusual": request.POST.get("value", "")} if unusual else {}
        )
        return redirect(f"{back}&{urlencode(asked)}")
    return redirect(back)


@require_POST
@needs("entries.add")
def bench_carry_over(request: SignedIn, code: str) -> HttpResponse:
    """Copy the set-up of a step from the cell before."""
    step = request.POST.get("step", "")
    try:
        outcomes = actions.carry_over(
            step=step,
            source=find(request, request.POST.get("from", "")),
            to=find(request, code),
            by=request.user,
        )
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        _tell(request, outcomes, code)
    return redirect(f"{reverse('bench_cell', args=[code])}?{urlencode({'card': step})}")


@needs("entries.add")
def bench_sheet(request: SignedIn, code: str) -> HttpResponse:
    """Show the same dissection at the desk; keep whatever was filled in."""
    dissection = find(request, code)
    if request.method == "POST":
        outcomes: list[actions.Outcome] = []
        for items in items_of_sheet(request.POST).values():
            outcomes += actions.log_entries(dissection=dissection, items=items, by=request.user)
        kept = _tell(request, outcomes, code)
        if kept:
            messages.success(request, f"{kept} kept.")
        if all(outcome.kept for outcome in outcomes):
            return redirect("bench_sheet", code)
        return render(request, "dissection/sheet.html", _sheet_context(dissection, request.POST), status=422)
    return render(request, "dissection/sheet.html", _sheet_context(dissection, None))


def _sheet_context(dissection: Dissection, typed: Any) -> dict[str, Any]:
    return {
        "sheet": sheet_of(dissection, typed),
        "dissection": dissection,
        "cell": dissection.cell,
        "header": HEADER,
    }


@needs("dissection.start")
def bench_plan(request: SignedIn, code: str) -> HttpResponse:
    """Decide before opening what is sampled and asked."""
    cell = get_object_or_404(Cell.objects.visible_to(request.user), code=code)
    plan = getattr(cell, "plan", None)
    begun = getattr(cell, "dissection", None)
    blind = not request.user.may("recipes.see") and (begun is None or begun.blinded) and not cell.closed_at
    form = PlanForm(request.POST or None, cell=cell, blind=blind)
    if request.method == "POST" and plan is None and form.is_valid():
        actions.make_plan(cell=cell, by=request.user, items=form.items(), questions=form.questions())
        messages.success(request, "The plan stands. Its labels can be printed.")
        return redirect("bench_plan", code)
    return render(request, "dissection/plan.html", {"cell": cell, "plan": plan, "form": form})


@needs("dissection.close")
def bench_close(request: SignedIn, code: str) -> HttpResponse:
    """Show what stands open; sign."""
    dissection = find(request, code)
    form = CloseForm(request.POST or None, user=request.user)
    if request.method == "POST" and form.is_valid():
        try:
            actions.close(dissection=dissection, by=request.user, answer=form.cleaned_data["answer"])
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, "Closed and signed.")
            return redirect("bench_close", code)
    return render(request, "dissection/close.html", {
        "dissection": dissection, "cell": dissection.cell, "form": form, "points": open_points(dissection),
        "weighing": weighing_of(dissection), "signature": last_signature(dissection),
        "unconfirmed": dissection.entries.unconfirmed().filter(observer=request.user).with_words(),
        "unlabelled": dissection.photographs.unlabelled(),
        "signatures": dissection.signatures.select_related("person"),
        "later": later_entries(dissection), "later_form": SignLaterForm(user=request.user),
        "may_acknowledge": request.user.may("amendments.acknowledge"),
    })  # fmt: skip


@require_POST
@needs("amendments.acknowledge")
def bench_sign_later(request: SignedIn, code: str) -> HttpResponse:
    """Sign a closed dissection as reviewed, or acknowledge what was amended after it was signed."""
    dissection = find(request, code)
    form = SignLaterForm(request.POST, user=request.user)
    deed = actions.review if request.POST.get("meaning") == "reviewed" else actions.acknowledge
    problems = [str(sentence) for said in form.errors.values() for sentence in said]
    if not problems:
        try:
            deed(dissection=dissection, by=request.user)
        except (ValidationError, PermissionDenied) as error:
            problems = list(getattr(error, "messages", [str(error)]))
    for sentence in problems:
        messages.error(request, sentence)
    if not problems:
        messages.success(request, "Signed, with your name, the time and what it means.")
    return redirect("bench_close", code)


@require_POST
@needs("entries.add")
def bench_confirm(request: SignedIn, code: str) -> HttpResponse:
    """Confirm what a scribe wrote down of one's own words."""
    dissection = find(request, code)
    mine = Entry.objects.filter(
        dissection=dissection, observer=request.user, key__in=request.POST.getlist("entry")
    )
    made = actions.confirm(entries=mine, by=request.user)
    messages.success(request, f"{len(made)} confirmed.")
    return redirect("bench_close", code)


@require_POST
@needs("entries.add")
def bench_unblind(request: SignedIn, code: str) -> HttpResponse:
    """Show recipe and curve at the bench, with the reason."""
    try:
        actions.unblind(
            dissection=find(request, code), by=request.user, reason=request.POST.get("reason", "")
        )
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("bench_sheet", code)


@require_POST
@needs("entries.add")
def caution_read(request: SignedIn, code: str) -> HttpResponse:
    """Note that a card was read. It permits nothing."""
    dissection = find(request, code)
    step, card = request.POST.get("step", ""), request.POST.get("card", "")
    actions.show_cautions(
        dissection=dissection, step=step, cards=[card] if card else [], by=request.user, read=True
    )
    return redirect(
        f"{reverse('bench_cell', args=[code])}?{urlencode({'card': request.POST.get('back', '')})}"
    )


@require_GET
@needs("entries.add")
def worker(request: SignedIn) -> HttpResponse:
    """Serve the worker that lets the bench start without a network; it must lie above the pages it serves."""
    found = finders.find("js/bench-worker.js")
    path = Path(found) if found else Path(settings.STATIC_ROOT) / "js" / "bench-worker.js"
    if not path.exists():
        raise Http404("The worker of the bench is not installed.")
    response = HttpResponse(path.read_text(encoding="utf-8"), content_type="text/javascript; charset=utf-8")
    response["Cache-Control"] = "no-cache"
    return response
