"""A wrongly named cell is named anew."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from teardown.accounts.models import SignedIn
from teardown.accounts.roles import needs
from teardown.cells.actions.codes import recode_cell
from teardown.cells.forms.codes import CodeForm
from teardown.cells.models import Cell
from teardown.page.trying import tried


@require_http_methods(["GET", "HEAD", "POST"])
@needs("codes.mend")
def recode(request: SignedIn, code: str) -> HttpResponse:
    """Give a cell its right code, with the reason; what was made under the old one stays tied to it."""
    cell = get_object_or_404(Cell.objects.visible_to(request.user), code=code)
    form = CodeForm(request.POST or None, initial={"seen": cell.version})
    if request.method == "POST":
        made = tried(form, lambda: recode_cell(cell=cell, by=request.user, **form.cleaned_data))
        if made:
            messages.success(
                request, f"{code} is {made.code} now; the old code still leads here. Print its labels again."
            )
            return redirect("cell", made.code)
        cell.refresh_from_db()
    context = {"form": form, "cell": cell, "former": cell.former_codes.select_related("by")}
    return render(request, "cells/recode.html", context, status=422 if form.errors else 200)
