"""Imports: sent, looked at, applied, withdrawn."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import NoReverseMatch, reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from teardown.accounts.roles import may, needs
from teardown.cells import actions
from teardown.cells.dossier import import_page
from teardown.cells.forms.imports import ApplyForm, SendForm, WithdrawForm
from teardown.cells.intake import KINDS, example
from teardown.files.models import Delivery
from teardown.page.lists import csv_answer, page_of
from teardown.page.trying import tried


@require_http_methods(["GET", "HEAD", "POST"])
@needs("cells.import")
def imports(request: HttpRequest) -> HttpResponse:
    """List imports; take a table and show what it would bring."""
    form = SendForm(request.POST or None, request.FILES or None)
    if request.method == "POST":
        made = tried(
            form,
            lambda: actions.show_import(
                upload=form.cleaned_data["table"], kind=form.cleaned_data["kind"], by=request.user
            ),
        )
        if made:
            return redirect("import", made.pk)
    page = page_of(Delivery.objects.select_related("receipt", "by").defer("planned"), request, 30)
    context = {
        "form": form,
        "kinds": KINDS.items(),
        "page": page,
        "lines": [(one, _page_of_its_own(one)) for one in page],
    }
    return render(request, "cells/imports.html", context, status=422 if form.errors else 200)


# Imports of other things have pages of their own; each is linked where it is there.
PAGES = {
    **dict.fromkeys(KINDS, "import"),
    "cycling.series": "series_import",
    "imaging.micrographs": "micrograph_delivery",
    "dissection.findings": "older_table",
    "dissection.photographs": "older_photographs",
}


def _page_of_its_own(one: Delivery) -> str:
    try:
        return reverse(PAGES[one.kind], args=[one.pk])
    except (KeyError, NoReverseMatch):
        return ""


@require_safe
@needs("cells.import")
def example_table(request: HttpRequest, kind: str) -> HttpResponseBase:
    """Give an example to fill in."""
    if kind not in KINDS:
        raise Http404("There is no example of this.")
    heads, *rows = example(kind)
    return csv_answer(f"example of {KINDS[kind].words}", heads, rows)


def _found(pk: int) -> Delivery:
    return get_object_or_404(Delivery.objects.select_related("receipt__file", "by"), pk=pk, kind__in=KINDS)


def _show(
    request: HttpRequest, one: Delivery, apply: ApplyForm | None = None, withdraw: WithdrawForm | None = None
) -> HttpResponse:
    bad = bool((apply and apply.errors) or (withdraw and withdraw.errors))
    context = {
        "page": import_page(one),
        "apply_form": apply or ApplyForm(),
        "withdraw_form": withdraw or WithdrawForm(),
        "may_see_file": may(request.user, "files.see"),
    }
    return render(request, "cells/import.html", context, status=422 if bad else 200)


@require_safe
@needs("cells.import")
def one_import(request: HttpRequest, pk: int) -> HttpResponse:
    """Show what an import would bring, or brought."""
    return _show(request, _found(pk))


@require_POST
@needs("cells.import")
def apply(request: HttpRequest, pk: int) -> HttpResponse:
    """Write what was shown."""
    one = _found(pk)
    form = ApplyForm(request.POST)
    form.fields["leave_out_refused"].required = bool(one.refusals)
    if tried(
        form,
        lambda: actions.apply_import(
            delivery=one, by=request.user, leave_out_refused=form.cleaned_data["leave_out_refused"]
        ),
    ):
        messages.success(request, "It is written.")
        return redirect("import", pk)
    return _show(request, _found(pk), apply=form)


@require_POST
@needs("cells.import")
def withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    """Withdraw an import, with the reason."""
    one = _found(pk)
    form = WithdrawForm(request.POST)
    if tried(form, lambda: actions.withdraw_import(delivery=one, by=request.user, **form.cleaned_data)):
        messages.success(request, "The import is withdrawn.")
        return redirect("import", pk)
    return _show(request, _found(pk), withdraw=form)
