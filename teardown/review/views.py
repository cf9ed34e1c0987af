"""First page, Cells, Cell, Side by side, search, Records: request to response."""

import csv
import re
from collections.abc import Iterable, Iterator

from django.contrib import messages
from django.core.exceptions import ObjectDoesNotExist, ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from teardown.accounts.roles import may, needs
from teardown.cells.models import Cell
from teardown.records.models import Record
from teardown.review.actions import keep_view, mark_place, take_mark_away
from teardown.review.dossier.beside import ORDERS, beside_page
from teardown.review.dossier.cell import cell_page
from teardown.review.dossier.cells import page_of, rows_of, table_of
from teardown.review.dossier.chain import chain_state, page_of_records
from teardown.review.dossier.first import first_page
from teardown.review.dossier.first import search as find
from teardown.review.dossier.marks import image_of, mark_page
from teardown.review.dossier.refusals import every_refusal
from teardown.review.dossier.remarks import every_remark
from teardown.review.filters import CellFilter, RecordFilter, in_order
from teardown.review.forms import AwayForm, KeepForm, MarkForm
from teardown.review.models import KeptView, Mark
from teardown.review.rules import METHODS, grouped


@require_safe
@needs("account.own")
def home(request: HttpRequest) -> HttpResponse:
    """Show what waits and what came last; an administrator, who reads no pages, is led to the records."""
    if not may(request.user, "pages.see"):
        return redirect("records")
    return render(request, "review/home.html", {"page": first_page(user=request.user, now=timezone.now())})


def _asked(request: HttpRequest) -> CellFilter:
    cells = Cell.objects.visible_to(request.user)
    return CellFilter(request.GET, queryset=cells, request=request, user=request.user)


@require_safe
@needs("pages.see")
def cells(request: HttpRequest) -> HttpResponse:
    """List cells; the address is the question."""
    asked = _asked(request)
    number = request.GET.get("page", "1")
    wanted = int(number) if re.fullmatch(r"[0-9]{1,6}", number) else 1
    found = in_order(asked.qs, request.GET.get("order", "")) if asked.is_valid() else Cell.objects.none()
    rows, pages = page_of(found, wanted, request.user)
    context = {
        "asked": asked,
        "rows": rows,
        "pages": pages if asked.is_valid() else None,
        "recipes_shown": may(request.user, "recipes.see"),
        "may_import": may(request.user, "cells.import"),
    }
    return render(request, "review/cells.html", context)


class _Echo:
    """A file that hands each line straight on."""

    def write(self, value: str) -> str:
        return value


def _lines(rows: Iterable[list[str]]) -> Iterator[str]:
    writer = csv.writer(_Echo())
    yield "\ufeff"  # so that a sheet program reads the units right
    for row in rows:
        yield writer.writerow(row)


@require_safe
@needs("questions.ask")
def cells_csv(request: HttpRequest) -> HttpResponse:
    """Write the list as asked, every row of it, in its order."""
    asked = _asked(request)
    if not asked.is_valid():
        return render(request, "review/cells.html", {"asked": asked, "rows": [], "pages": None}, status=400)
    found = in_order(asked.qs, request.GET.get("order", ""))
    rows = table_of(rows_of(found, request.user), recipes=may(request.user, "recipes.see"))
    answer = HttpResponse("".join(_lines(rows)), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = 'attachment; filename="cells.csv"'
    return answer


@require_safe
@needs("pages.see")
def cell(request: HttpRequest, code: str) -> HttpResponse:
    """Tell the whole story of one cell."""
    try:
        page = cell_page(code, user=request.user, now=timezone.now())
    except Cell.DoesNotExist:
        raise Http404(code) from None
    return render(
        request, "review/cell.html", {"page": page, "may_read_records": may(request.user, "records.read")}
    )


@require_safe
@needs("pages.see")
def side_by_side(request: HttpRequest) -> HttpResponse:
    """Show chosen cells side by side."""
    codes = [c for text in request.GET.getlist("cell") for c in text.replace(",", " ").split()]
    order = request.GET.get("order", "chosen")
    page = beside_page(
        codes,
        user=request.user,
        order=order if order in ORDERS else "chosen",
        recipes_shown=may(request.user, "recipes.see") and "hide" not in request.GET,
        query=request.GET.urlencode(),
    )
    context = {
        "page": page,
        "orders": ORDERS.items(),
        "views": KeptView.objects.all()[:12],
        "form": KeepForm(),
        "may_keep": may(request.user, "studies.keep"),
    }
    return render(request, "review/side_by_side.html", context)


@require_POST
@needs("studies.keep")
def keep(request: HttpRequest) -> HttpResponse:
    """Keep the view under a name."""
    query = request.POST.get("query", "")
    form = KeepForm(request.POST)
    if form.is_valid():
        view = keep_view(**form.cleaned_data, query=query, by=request.user)
        messages.success(request, f"The view “{view.name}” is kept.")
    else:
        found = "; ".join(str(e) for errors in form.errors.values() for e in errors)
        messages.error(request, f"The view was not kept: {found}")
    return redirect(f"{reverse('side_by_side')}?{query}")


@require_safe
@needs("records.read")
def records(request: HttpRequest) -> HttpResponse:
    """Say who did what, when and why."""
    asked = RecordFilter(request.GET, queryset=Record.objects.all(), request=request)
    before = request.GET.get("before", "")
    found = asked.qs if asked.is_valid() else Record.objects.none()
    earlier = int(before) if re.fullmatch(r"[0-9]{1,18}", before) else None
    rows, following = page_of_records(found, earlier, request.user)
    return render(request, "review/records.html", {"asked": asked, "rows": rows, "following": following})


@require_safe
@needs("records.read")
def chain(request: HttpRequest) -> HttpResponse:
    """Walk the chain and say what was found, as a piece of the page."""
    return render(request, "review/_chain.html", {"chain": chain_state()})


@require_safe
@needs("pages.see")
def search(request: HttpRequest) -> HttpResponse:
    """Find cells, recipes, samples and modes by words."""
    text = request.GET.get("q", "")[:200]
    hits = find(text, user=request.user)
    if len(hits) == 1:
        return redirect(hits[0].href)
    return render(request, "review/search.html", {"text": text, "hits": hits})


@require_http_methods(["GET", "HEAD", "POST"])
@needs("images.mark")
def marks(request: HttpRequest, kind: str, pk: int) -> HttpResponse:
    """Show an image with its marks; mark a place on it."""
    form = MarkForm(request.POST or None)
    try:
        if form.is_valid():
            image, _ = image_of(kind, pk, request.user)
            mark_place(image=image, box=form.box, words=form.cleaned_data["words"], by=request.user)
            return redirect("marks", kind, pk)
        page = mark_page(kind, pk, request.user)
    except ValidationError as error:
        form.add_error(None, error)
        page = mark_page(kind, pk, request.user)
    except (KeyError, ObjectDoesNotExist):
        raise Http404(f"{kind} {pk}") from None
    context = {"page": page, "form": form, "away": AwayForm()}
    return render(request, "review/marks.html", context, status=400 if form.errors else 200)


@require_POST
@needs("images.mark")
def mark_away(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a mark away, with the reason."""
    mark = get_object_or_404(Mark.objects.standing(), pk=pk)
    kind, image = (
        ("photograph", mark.photograph_id) if mark.photograph_id else ("micrograph", mark.micrograph_id)
    )
    try:
        image_of(kind, image or 0, request.user)
        take_mark_away(mark=mark, reason=request.POST.get("reason", ""), by=request.user)
    except ObjectDoesNotExist:
        raise Http404(str(pk)) from None
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("marks", kind, image)


@require_safe
@needs("account.own")
def methods(request: HttpRequest) -> HttpResponse:
    """List how each number is made."""
    return render(request, "review/methods.html", {"groups": grouped()})


@require_safe
@needs("account.own")
def method(request: HttpRequest, key: str) -> HttpResponse:
    """Say how one number is made, how sure it is, and what it cannot tell."""
    if key not in METHODS:
        raise Http404(f"No number is called {key}.")
    chosen = METHODS[key]
    others = [one for one in METHODS.values() if one.group == chosen.group and one != chosen]
    return render(request, f"review/methods/{key}.html", {"method": chosen, "others": others})


@require_safe
@needs("account.own")
def refusals(request: HttpRequest) -> HttpResponse:
    """Explain every code with which something here remarks or says no."""
    remarks = every_remark()
    codes = {said.code for _, rows in remarks for said in rows}
    refusals = [refused for refused in every_refusal() if refused.code not in codes]
    context = {"refusals": refusals, "remarks": remarks, "n_remarks": len(codes)}
    return render(request, "review/refusals.html", context)
