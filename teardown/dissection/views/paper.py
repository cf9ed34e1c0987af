"""The paper sheet: printed for a dead tablet, typed in later, critical numbers keyed twice."""

from collections.abc import Mapping
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET

from teardown.accounts.models import SignedIn
from teardown.accounts.roles import needs
from teardown.dissection.actions import paper as deeds
from teardown.dissection.dossier.cards import part_buttons
from teardown.dissection.dossier.paper import keyed, paper_pdf, transcription_words
from teardown.dissection.dossier.sheet import sheet_of
from teardown.dissection.forms.paper import PaperForm
from teardown.dissection.models import Dissection, Transcription
from teardown.dissection.rules.places import all_places, grid_of
from teardown.dissection.schemas import said_of
from teardown.dissection.views.bench import find
from teardown.page.trying import tried
from teardown.vocabulary.models import Term

MOST_SHEETS = 20
MOST_VIALS = 3


@require_GET
@needs("entries.add")
def paper_sheets(request: SignedIn) -> HttpResponse:
    """Print the paper sheets of the cells named in the address."""
    codes = list(dict.fromkeys(request.GET.getlist("cell")))
    rows = Dissection.objects.visible_to(request.user).filter(cell__code__in=codes)
    found = {d.cell.code: d for d in rows.select_related("cell__build", "cell__plan")}
    wanted = [found[code] for code in codes if code in found][:MOST_SHEETS]
    if not wanted:
        raise Http404("Name the cells whose dissection was begun: ?cell=CODE.")
    answer = HttpResponse(paper_pdf(wanted, timezone.now()), content_type="application/pdf")
    answer["Content-Disposition"] = f'attachment; filename="sheet {wanted[0].cell.code}.pdf"'
    return answer


@needs("entries.add")
def paper_begin(request: SignedIn, code: str) -> HttpResponse:
    """List the sheets of a cell; take the photographed pages of another."""
    dissection = find(request, code)
    form = PaperForm(request.POST or None, request.FILES or None, initial={"observer": request.user.pk})
    if request.method == "POST":
        made = tried(
            form, lambda: deeds.begin_paper(dissection=dissection, by=request.user, **form.cleaned_data)
        )
        if made:
            return redirect("paper_type", code, made.pk)
    sheets = [(one, transcription_words(one)) for one in dissection.transcriptions.prefetch_related("pages")]
    context = {"cell": dissection.cell, "form": form, "sheets": sheets}
    return render(request, "dissection/paper.html", context, status=422 if form.errors else 200)


@needs("entries.add")
def paper_type(request: SignedIn, code: str, pk: int) -> HttpResponse:
    """Type a sheet in; key its critical numbers again, blind to the first time; compare where they differ."""
    dissection = find(request, code)
    rows = Transcription.objects.select_related("observer", "dissection__cell__build", "by")
    sheet = get_object_or_404(rows, pk=pk, dissection=dissection, kind=Transcription.Kind.PAPER)
    typed: Mapping[str, str] = {}
    if request.method == "POST":
        told = _deed(request, sheet)
        refused = [sentence for _, _, sentence in told if sentence]
        for sentence in dict.fromkeys(refused):
            messages.error(request, sentence)
        kept = sum(outcome is not None and outcome.kept for _, outcome, _ in told)
        if kept:
            messages.success(request, f"{kept} kept, as transcribed.")
        if not refused:
            return redirect("paper_type", code, pk)
        done = {slot for slot, outcome, sentence in told if not sentence}
        typed = {name: str(value) for name, value in request.POST.items() if _slot(name) not in done}
    return render(request, "dissection/paper_type.html", {
        "cell": dissection.cell, "dissection": dissection, "transcription": sheet,
        "words": transcription_words(sheet), "keyed": keyed(sheet), "sheet": sheet_of(dissection, typed),
        "places": [place.address for place in all_places(_grid(dissection))] + ["whole"], "typed": typed,
        "vials": _vials(typed), "parts": part_buttons(dissection),
        "pages": sheet.pages.select_related("receipt__file"),
    }, status=422 if typed else 200)  # fmt: skip


def _vials(typed: Mapping[str, str]) -> list[tuple[int, str]]:
    """Give the rows for burette readings, each with the code that was typed."""
    return [(number, typed.get(f"vial|{number}", "")) for number in range(1, MOST_VIALS + 1)]


def _grid(dissection: Dissection) -> str:
    return grid_of(dissection.cell.electrode_width_mm)


def _slot(name: str) -> str:
    return name.partition("|")[2]


def _deed(request: SignedIn, sheet: Transcription) -> list[tuple[str, Any, str]]:
    post = {name: str(value) for name, value in request.POST.items()}
    if post.get("do") in ("again", "compare"):
        numbers = {
            _slot(n): v.strip() for n, v in post.items() if n.startswith(f"{post['do']}|") and v.strip()
        }
        deed = deeds.key_again if post["do"] == "again" else deeds.compare_keyings
        try:
            return deed(sheet=sheet, numbers=numbers, by=request.user)
        except ValidationError as error:
            return [("", None, " ".join(error.messages))]
    return deeds.type_in(sheet=sheet, typed=typed_of(post, sheet), by=request.user)


def typed_of(post: Mapping[str, Any], sheet: Transcription) -> list[deeds.Typed]:
    """Read what was typed: names are ``cell|term|component|number|place|sample``, clocks stand beside."""
    assert sheet.dissection is not None
    code = sheet.dissection.cell.code
    cards = dict(Term.objects.of("field").values_list("key", "data__card"))
    found = []
    for name, value in post.items():
        head, _, slot = name.partition("|")
        if head != code or slot.count("|") != 4 or not value.strip():
            continue
        term, _, _, place, _ = slot.split("|")
        try:
            said = said_of(value)
        except ValidationError:
            said = {"value": value.strip()}
        if post.get(f"twice|{name}") == "on":
            said["confirmed_unusual"] = True
        clock = post.get(f"clock|{slot}", "") or post.get(f"clock|{cards.get(term, '')}|{place}", "")
        if term == "opening.opened":
            said, clock = {"state": "present"}, value.strip()
        found.append(deeds.Typed(slot, said, clock.strip()))
    return found + _readings(post)


def _readings(post: Mapping[str, Any]) -> list[deeds.Typed]:
    """Read burette readings: ``reading|number|term``, each of the vial named beside it, ``vial|number``."""
    found = []
    for name, value in post.items():
        kind, _, rest = name.partition("|")
        number, _, term = rest.partition("|")
        if kind != "reading" or not str(value).strip():
            continue
        vial = "".join(str(post.get(f"vial|{number}", "")).split()).replace("-", "").upper()
        slot = f"{term}|component.electrolyte|1||{vial}"
        clock = str(post.get(f"clock|vial|{number}", "")).strip()
        found.append(deeds.Typed(slot, {"value": str(value).strip()}, clock))
    return found
