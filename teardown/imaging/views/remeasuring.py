"""Measuring again: old beside new numbers, taken up by a person."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from teardown.accounts.roles import demand, needs
from teardown.imaging import actions, dossier
from teardown.imaging.filters import MicrographFilter
from teardown.imaging.forms import AgainForm
from teardown.imaging.models import Micrograph, Remeasuring
from teardown.page.trying import tried

PAGE = 40


@needs("measures.run")
def again_all(request: HttpRequest) -> HttpResponse:
    """Ask for the cross sections that the address names to be measured again, beside what stands."""
    seen = Micrograph.objects.visible_to(request.user).select_related("receipt__file", "session")
    asked = MicrographFilter(request.GET, queryset=seen)
    fields = list(asked.qs.filter(kind=Micrograph.Kind.SECTION).distinct())
    versions = dossier.versions_of(fields)
    form = AgainForm(request.POST or None, initial={"which": "earlier" if versions.earlier else "all"})
    if request.method == "POST":
        made = tried(form, lambda: _ask(request, form.cleaned_data, fields, versions))
        if made is not None:
            return redirect("micrographs_remeasured", made.pk)
    context = {
        "form": form,
        "versions": versions,
        "total": len(fields),
        "past": Remeasuring.objects.select_related("by")[:20],
    }
    return render(request, "imaging/again.html", context, status=422 if form.is_bound else 200)


def _ask(request: HttpRequest, given: dict[str, Any], fields: list[Micrograph], versions: Any) -> Remeasuring:
    wanted = list(versions.earlier) if given["which"] == "earlier" else fields
    if not wanted:
        raise ValidationError("None of these fields was measured by an earlier version.")
    return actions.remeasure(micrographs=wanted, reason=given["reason"], by=request.user)


def _seen(request: HttpRequest, pk: int) -> Remeasuring:
    return get_object_or_404(Remeasuring.objects.select_related("by"), pk=pk)


@require_safe
@needs("measures.run")
def remeasured(request: HttpRequest, pk: int) -> HttpResponse:
    """Show old and new numbers of each field; as a piece while work goes on."""
    page = dossier.remeasuring_of(_seen(request, pk), request.user)
    shown = Paginator(page.rows, PAGE).get_page(request.GET.get("page"))
    template = "imaging/_remeasured.html" if request.headers.get("HX-Request") else "imaging/remeasured.html"
    return render(request, template, {"page": page, "shown": shown})


@require_POST
@needs("measures.review")
def remeasured_judge(request: HttpRequest, pk: int) -> HttpResponse:
    """Take new numbers up, or keep the earlier ones: of one field, or of all that are done."""
    made = _seen(request, pk)
    demand(request.user, "measures.review")
    fields = made.fields.select_related("micrograph", "remeasuring").order_by("pk")
    one = request.POST.get("field", "")
    if one:
        fields = fields.filter(pk=int(one) if one.isdecimal() and len(one) < 18 else 0)
    try:
        if request.POST.get("verdict") == "accept":
            done = actions.take_up(fields=list(fields), by=request.user)
            messages.success(request, f"{done} taken up; samples are pooled again.")
        else:
            reason = request.POST.get("reason", "")
            done = actions.keep_earlier(fields=list(fields), reason=reason, by=request.user)
            messages.success(request, f"The earlier numbers of {done} are kept.")
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("micrographs_remeasured", pk)
