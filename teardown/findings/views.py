"""Modes, Waiting, and the pages where a cell is judged and decided."""

import csv
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from teardown.accounts.models import SignedIn
from teardown.accounts.roles import may, needs
from teardown.cells.models import Cell
from teardown.dissection.actions.bench_time import give_bench_time, set_bench_hours
from teardown.dissection.models import BenchTime
from teardown.files.models import Run
from teardown.findings import actions
from teardown.findings.dossier import telling
from teardown.findings.dossier.agreeing import agreed_on
from teardown.findings.dossier.balance import balance_of
from teardown.findings.dossier.bench_load import load_of
from teardown.findings.dossier.judging import JudgePage, judge_page, own_judgement
from teardown.findings.dossier.ledgers import HEADS as LEDGER_HEADS
from teardown.findings.dossier.ledgers import MEASURES
from teardown.findings.dossier.ledgers import ledgers as ledgers_of
from teardown.findings.dossier.lives import lives_of
from teardown.findings.dossier.modes import Modes, Question, modes_of
from teardown.findings.dossier.next_round import next_round as proposals
from teardown.findings.dossier.waiting import waiting_for
from teardown.findings.filters import ModesFilter
from teardown.findings.forms import (
    BenchTimeForm,
    DecisionForm,
    HoursForm,
    JudgementForm,
    StatedForm,
    initial_from,
)
from teardown.findings.rules import USUAL
from teardown.formats.export import csv_lines
from teardown.page.trying import tried


@needs("questions.ask")
def modes(request: HttpRequest) -> HttpResponse:
    """Answer how often each failure mode was found, by a factor of the recipe."""
    asked, answer = _asked(request)
    cells = asked.qs if asked.is_bound and asked.form.is_valid() else Cell.objects.visible_to(request.user)
    context = {
        "agreed": agreed_on(cells),
        "lives": lives_of(cells, answer, answer.level_of, answer.ended_by),
        "filter": asked,
        "answer": answer,
        "sentence": telling.sentence(answer),
        "difference": telling.difference(answer),
        "plot": telling.plot(answer),
        "stamp": telling.stamp(answer),
        "roles": telling.roles(answer),
    }
    return render(request, "findings/modes.html", context)


@needs("questions.ask")
def modes_csv(request: HttpRequest) -> HttpResponse:
    """Give what Modes shows as a file."""
    _, answer = _asked(request)
    response = HttpResponse(content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = 'attachment; filename="modes.csv"'
    writer = csv.writer(response)
    writer.writerow([f"# {telling.stamp(answer)}; counted where the mode was {telling.roles(answer)}"])
    writer.writerow(telling.HEADS)
    writer.writerows([_harmless(cell) for cell in row] for row in telling.table(answer))
    return response


@needs("pages.see")
def waiting(request: HttpRequest) -> HttpResponse:
    """List the cells that nobody has opened yet, in the order proposed."""
    return _waiting(request)


def _waiting(request: HttpRequest, status: int = 200, **forms: Any) -> HttpResponse:
    now = timezone.now()
    page = waiting_for(request.user, now)
    load = load_of(request.user, now, len(page.rows))
    hours = forms.get("hours") or HoursForm()
    context = {"page": page, "load": load, "hours": hours, "slots": BenchTime.Slot.choices}
    return render(request, "findings/waiting.html", context, status=status)


@require_POST
@needs("bench.assign")
def bench_time(request: SignedIn, code: str) -> HttpResponse:
    """Give bench time to a cell: who, on which day, in which part of it."""
    cell = _cell(request, code)
    form = BenchTimeForm(request.POST)
    rows = waiting_for(request.user, timezone.now()).rows
    row = next((row for row in rows if row.cell.pk == cell.pk), None)
    made = tried(
        form,
        lambda: give_bench_time(
            cell=cell, by=request.user, drawn=row.place.drawn if row else True,
            reason=row.reason if row else "", **form.cleaned_data,
        ),
    )  # fmt: skip
    if made:
        messages.success(request, f"Bench time of {cell} is kept.")
        return redirect("waiting")
    for sentences in form.errors.values():
        for sentence in sentences:
            messages.error(request, f"{cell}: {sentence}")
    return _waiting(request, 422)


@require_POST
@needs("bench.assign")
def bench_hours(request: SignedIn) -> HttpResponse:
    """Say how many hours the bench has a day."""
    form = HoursForm(request.POST)
    if tried(form, lambda: set_bench_hours(by=request.user, since=timezone.localdate(), **form.cleaned_data)):
        messages.success(request, "The hours of the bench are kept.")
        return redirect("waiting")
    return _waiting(request, 422, hours=form)


@needs("next_round.plan")
def next_round(request: HttpRequest) -> HttpResponse:
    """Propose what to build and to open next, with the reasons."""
    page = {"page": proposals(), "waiting": waiting_for(request.user, timezone.now())}
    return render(request, "findings/next_round.html", page)


@needs("modes.propose")
def judge(request: HttpRequest, code: str) -> HttpResponse:
    """Give one's own judgement of a cell, or propose one."""
    cell = _cell(request, code)
    page = judge_page(cell, request.user)
    form = _form(request, cell, page)
    if request.POST.get("do") == "keep" and form.is_valid():
        try:
            actions.judge(
                cell=cell,
                assigned=form.assigned(),
                note=form.cleaned_data["note"],
                proposal=not may(request.user, "modes.judge"),
                by=request.user,
            )
        except ValidationError as refusal:
            form.add_error(None, refusal)
        else:
            messages.success(request, f"Your judgement of {cell} is kept.")
            return redirect("judge", code=cell.code)
    return render(request, "findings/judge.html", _judging(request, page, form))


@require_POST
@needs("modes.judge")
def look(request: HttpRequest, code: str) -> HttpResponse:
    """Open what others judged, before judging."""
    actions.look_at_judgements(cell=_cell(request, code), by=request.user)
    return redirect("judge", code=code)


@require_POST
@needs("modes.decide")
def decide(request: HttpRequest, code: str) -> HttpResponse:
    """Say which judgement holds."""
    cell = _cell(request, code)
    page = judge_page(cell, request.user)
    standing = [each.judgement for each in page.judgements.given]
    form = DecisionForm(request.POST, standing=standing)
    if form.is_valid():
        actions.decide(cell=cell, by=request.user, **form.cleaned_data)
        messages.success(request, f"The decision on {cell} is kept.")
        return redirect("judge", code=code)
    blank = _form(request, cell, page, fresh=True)
    return render(
        request, "findings/judge.html", _judging(request, page, blank) | {"decision_form": form}, status=422
    )


@needs("recipes.see")
def balance(request: HttpRequest, code: str) -> HttpResponse:
    """Show where the capacity of a cell went."""
    return _balance(request, _cell(request, code))


def _balance(
    request: HttpRequest, cell: Cell, refused: StatedForm | None = None, status: int = 200
) -> HttpResponse:
    shown = balance_of(cell)
    may_state = may(request.user, "measures.run")
    forms = [
        (
            each,
            refused if refused and refused.usual.key == each["key"] else StatedForm(usual=USUAL[each["key"]]),
        )
        if may_state and each.get("key") in USUAL
        else (each, None)
        for each in shown.assumed
    ]
    context = {"shown": shown, "assumed": forms, "may_state": any(form for _, form in forms)}
    return render(request, "findings/balance.html", context, status=status)


@needs("recipes.see")
def ledgers(request: HttpRequest) -> HttpResponse:
    """Compare recipes by where the capacity of their cells went."""
    page = ledgers_of(Cell.objects.visible_to(request.user), request.GET.get("measure", ""))
    context = {"page": page, "measures": MEASURES.items(), "query": request.GET.urlencode()}
    return render(request, "findings/ledgers.html", context)


@needs("recipes.see")
def ledgers_csv(request: HttpRequest) -> StreamingHttpResponse:
    """Give the comparison of recipes by ledger as a table."""
    page = ledgers_of(Cell.objects.visible_to(request.user), request.GET.get("measure", ""))
    response = StreamingHttpResponse(
        csv_lines(LEDGER_HEADS, page.table()), content_type="text/csv; charset=utf-8"
    )
    response["Content-Disposition"] = 'attachment; filename="ledgers.csv"'
    return response


@require_POST
@needs("measures.run")
def state_assumption(request: HttpRequest, code: str, key: str) -> HttpResponse:
    """Take what a person states in place of an assumption, and have the balance made again."""
    cell = _cell(request, code)
    usual = USUAL.get(key)
    if usual is None:
        raise Http404("A balance assumes nothing of that name.")
    if request.POST.get("do") == "back":
        actions.state(cell=cell, key=key, value=None, source="the usual holds again", by=request.user)
    else:
        form = StatedForm(request.POST, usual=usual)
        if not tried(form, lambda: actions.state(cell=cell, key=key, by=request.user, **form.stated)):
            return _balance(request, cell, form, status=422)
    actions.ask_balance(cell=cell, by=request.user)
    messages.success(request, f"Kept: {usual.words}. The balance is made again with it.")
    return redirect("balance", code=code)


@require_POST
@needs("measures.run")
def ask_balance(request: HttpRequest, code: str) -> HttpResponse:
    """Have the balance of a cell made."""
    run = actions.ask_balance(cell=_cell(request, code), by=request.user)
    if run.state == Run.State.DONE:
        messages.success(request, "Nothing that the balance rests on has changed; it stands as it is.")
    return redirect("balance", code=code)


def _cell(request: HttpRequest, code: str) -> Cell:
    return get_object_or_404(Cell.objects.visible_to(request.user), code=code)


def _asked(request: HttpRequest) -> tuple[ModesFilter, Modes]:
    """Read the question from the address and answer it; what cannot be read is shown at its field."""
    cells = Cell.objects.visible_to(request.user)
    asked = ModesFilter(request.GET or None, queryset=cells, request=request)
    said = asked.form.cleaned_data if asked.is_bound and asked.form.is_valid() else {}
    question = Question(
        factor=said.get("factor") or "additive",
        mode=said.get("mode") or "",
        contributing=said.get("roles") == "contributing",
        grade=said.get("grade") or "all",
        filtered=asked.words if said else "",
    )
    return asked, modes_of(asked.qs if said else cells, question)


def _form(request: HttpRequest, cell: Cell, page: JudgePage, *, fresh: bool = False) -> JudgementForm:
    if request.method == "POST" and not fresh:
        lines = int(request.POST.get("lines", "3")) if request.POST.get("lines", "3").isdigit() else 3
        lines += request.POST.get("do") == "more"
        return JudgementForm(request.POST, items=page.items, lines=lines)
    own = own_judgement(cell, request.user)
    initial = initial_from(own)
    lines = max(3, len(own.assignments.all()) + 1 if own else 0)
    return JudgementForm(items=page.items, lines=lines, initial=initial)


def _judging(request: HttpRequest, page: JudgePage, form: JudgementForm) -> dict[str, Any]:
    groups = []
    for group in page.groups:
        rows = [(item, list(form.sides(item.reference))) for item in group.items]
        used = any(field.value() for _, sides in rows for _, field in sides)
        groups.append({"heading": group.heading, "rows": rows, "open": group.telling or used})
    standing = [each.judgement for each in page.judgements.given]
    return {
        "cell": page.judgements.cell,
        "judgements": page.judgements,
        "form": form,
        "groups": groups,
        "checked": request.POST.get("do") in ("check", "keep"),
        "decision_form": DecisionForm(standing=standing) if standing and page.judgements.may_decide else None,
    }


def _harmless(cell: str | float) -> str | float:
    """Keep a spreadsheet from taking words for a formula."""
    return f"'{cell}" if isinstance(cell, str) and cell[:1] in ("=", "+", "-", "@", "\t", "\r") else cell
