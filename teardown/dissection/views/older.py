"""Older dissections: tables and folders of photographs sent, explained, looked at, applied, withdrawn."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.forms import Form
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_POST

from teardown.accounts.models import SignedIn
from teardown.accounts.roles import needs
from teardown.dissection.actions import older, older_photographs
from teardown.dissection.dossier.older import older_page
from teardown.dissection.forms.older import (
    BringForm,
    ColumnsForm,
    OlderPhotographsForm,
    OlderTableForm,
    TakeBackForm,
)
from teardown.dissection.intake.heads import fields_of_tables, in_order
from teardown.files.models import Delivery
from teardown.page.lists import page_of
from teardown.page.trying import tried

KINDS = (older.TABLE, older_photographs.FOLDER)


def _list(request: SignedIn, status: int = 200, **forms: Any) -> HttpResponse:
    rows = Delivery.objects.filter(kind__in=KINDS).select_related("receipt", "by").defer("planned")
    context = {
        "table": forms.get("table") or OlderTableForm(),
        "folder": forms.get("folder") or OlderPhotographsForm(),
        "page": page_of(rows, request, 30),
    }
    return render(request, "dissection/older.html", context, status=status)


@require_GET
@needs("older.bring")
def older_records(request: SignedIn) -> HttpResponse:
    """List what was brought of older dissections, and take more."""
    return _list(request)


@require_POST
@needs("older.bring")
def older_table_send(request: SignedIn) -> HttpResponse:
    """Keep an older table and ask what its columns are."""
    form = OlderTableForm(request.POST, request.FILES)
    return _send(request, form, older.show_older, {"table": "upload"}, "older_table")


@require_POST
@needs("older.bring")
def older_photographs_send(request: SignedIn) -> HttpResponse:
    """Keep a folder of older photographs and show of which cell and place each is."""
    form = OlderPhotographsForm(request.POST, request.FILES)
    show = older_photographs.show_older_photographs
    return _send(request, form, show, {"photographs": "files"}, "older_photographs")


def _send(
    request: SignedIn, form: Form, show: Callable[..., Delivery], names: dict[str, str], address: str
) -> HttpResponse:
    """Keep what was sent and go to look at it; ``names`` are of the form's fields as the deed knows them."""

    def deed() -> Delivery:
        said = {names.get(name, name): value for name, value in form.cleaned_data.items()}
        return show(by=request.user, **said)

    made = tried(form, deed)
    which = "table" if address == "older_table" else "folder"
    return redirect(address, made.pk) if made else _list(request, 422, **{which: form})


def _found(pk: int, kind: str) -> Delivery:
    return get_object_or_404(Delivery.objects.select_related("receipt__file", "by"), pk=pk, kind=kind)


def _columns_form(one: Delivery, data: Any = None) -> ColumnsForm:
    how = one.column_map
    return ColumnsForm(
        data,
        columns=in_order(how),
        samples=how.get("samples", {}),
        unknown=how.get("unknown", {}),
        terms=fields_of_tables(),
        initial={
            "day": how.get("day", ""),
            "seen_by": how.get("seen_by", ""),
            "opened": how.get("opened", True),
        },
    )


def _show(request: SignedIn, one: Delivery, status: int = 200, **forms: Any) -> HttpResponse:
    page = older_page(one)
    bring = forms.get("bring") or BringForm()
    if not page.refused:
        bring.fields.pop("leave_out_refused", None)
    if not page.unusual:
        bring.fields.pop("read_unusual", None)
    if not page.unopened:
        bring.fields.pop("opened", None)
    context = {"page": page, "bring": bring, "back": forms.get("back") or TakeBackForm()}
    if one.kind == older.TABLE and one.state == Delivery.State.SHOWN:
        context["columns"] = forms.get("columns") or _columns_form(one)
    return render(request, "dissection/older_one.html", context, status=status)


@require_GET
@needs("older.bring")
def older_table(request: SignedIn, pk: int) -> HttpResponse:
    """Show what a table would bring, or brought."""
    return _show(request, _found(pk, older.TABLE))


@require_POST
@needs("older.bring")
def older_explain(request: SignedIn, pk: int) -> HttpResponse:
    """Take what the columns are and what words mean; plan anew."""
    one = _found(pk, older.TABLE)
    form = _columns_form(one, request.POST)
    made = tried(
        form,
        lambda: older.explain_older(
            delivery=one, by=request.user, columns=form.columns(), words=form.meant(),
            day=form.cleaned_data["day"], seen_by=form.cleaned_data["seen_by"],
            opened=form.cleaned_data["opened"],
        ),
    )  # fmt: skip
    return redirect("older_table", pk) if made else _show(request, one, 422, columns=form)


@require_GET
@needs("older.bring")
def older_folder(request: SignedIn, pk: int) -> HttpResponse:
    """Show what a folder of photographs would bring, or brought."""
    return _show(request, _found(pk, older_photographs.FOLDER))


@require_POST
@needs("older.bring")
def older_apply(request: SignedIn, pk: int) -> HttpResponse:
    """Write what was shown."""
    one = get_object_or_404(Delivery, pk=pk, kind__in=KINDS)
    form = BringForm(request.POST)

    def deed() -> Delivery:
        said = dict(form.cleaned_data)
        if one.kind == older.TABLE:
            del said["opened"]  # a table says it with its columns
            return older.apply_older(delivery=one, by=request.user, **said)
        del said["read_unusual"]
        return older_photographs.apply_older_photographs(delivery=one, by=request.user, **said)

    if tried(form, deed):
        messages.success(request, "It is written.")
        return redirect("older_table" if one.kind == older.TABLE else "older_photographs", pk)
    return _show(request, _found(pk, one.kind), 422, bring=form)


@require_POST
@needs("older.bring")
def older_withdraw(request: SignedIn, pk: int) -> HttpResponse:
    """Take a whole import back, with the reason."""
    one = get_object_or_404(Delivery, pk=pk, kind__in=KINDS)
    form = TakeBackForm(request.POST)
    deed = older.withdraw_older if one.kind == older.TABLE else older_photographs.withdraw_older_photographs
    if tried(form, lambda: deed(delivery=one, by=request.user, **form.cleaned_data)):
        messages.success(request, "Withdrawn; what it brought stays to be seen, and counts no longer.")
        return redirect("older_table" if one.kind == older.TABLE else "older_photographs", pk)
    return _show(request, _found(pk, one.kind), 422, back=form)
