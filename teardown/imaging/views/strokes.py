"""Strokes on the screen: drawn, learned from, measured with."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from teardown.accounts.roles import demand, needs
from teardown.imaging import actions, dossier
from teardown.imaging.forms import ByStrokesForm, StrokesForm
from teardown.imaging.models import Micrograph
from teardown.imaging.runs import classifiers_of, together_with
from teardown.imaging.views.one import find, words


def _show(request: HttpRequest, one: Micrograph, refused: str = "", status: int = 200) -> HttpResponse:
    page = dossier.strokes_page_of(one, request.user, can_learn=actions.can_learn())
    context = {"page": page, "refused": refused, "missing": actions.MISSING, "classes": actions.CLASSES}
    return render(request, "imaging/strokes.html", context, status=status)


@needs("measures.run")
def strokes(request: HttpRequest, pk: int) -> HttpResponse:
    """Show the strokes of a micrograph; keep what was drawn."""
    one = find(request, pk)
    if request.method != "POST":
        return _show(request, one)
    demand(request.user, "micrographs.add")
    form = StrokesForm(request.POST)
    if not form.is_valid():
        return _show(request, one, words(form), 422)
    try:
        made = actions.keep_strokes(micrograph=one, strokes=form.cleaned_data["strokes"], by=request.user)
    except ValidationError as error:
        return _show(request, one, " ".join(error.messages), 422)
    messages.success(request, f"Version {made.version} of the strokes is kept.")
    return redirect("micrograph_strokes", pk)


@require_safe
@needs("measures.run")
def strokes_learned(request: HttpRequest, pk: int) -> HttpResponse:
    """Give what was learned alone: asked again while the work goes on."""
    page = dossier.strokes_page_of(find(request, pk), request.user, can_learn=actions.can_learn())
    return render(request, "imaging/_learned.html", {"page": page, "missing": actions.MISSING})


@require_POST
@needs("micrographs.add")
def strokes_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Bring an earlier version of the strokes back."""
    one = find(request, pk)
    number = request.POST.get("version", "")
    version = int(number) if number.isdecimal() and len(number) < 9 else 0
    return _told(
        request,
        one,
        lambda: actions.bring_back_strokes(micrograph=one, version=version, by=request.user),
        "The earlier strokes are back, as a new version.",
    )


@require_POST
@needs("measures.run")
def strokes_train(request: HttpRequest, pk: int) -> HttpResponse:
    """Have classes learned from the strokes."""
    one = find(request, pk)
    return _told(
        request,
        one,
        lambda: actions.train_on_strokes(micrograph=one, by=request.user),
        "Classes are learned in the background.",
    )


@require_POST
@needs("measures.run")
def strokes_measure(request: HttpRequest, pk: int) -> HttpResponse:
    """Measure the micrograph, or all of its session, with what was learned."""
    one = find(request, pk)
    form = ByStrokesForm(request.POST)
    if not form.is_valid():
        return _show(request, one, words(form), 422)
    given = form.cleaned_data
    chosen = next((c for c in classifiers_of(one) if c.pk == given["classifier"]), None)
    if chosen is None:
        return _show(request, one, "There is no such classifier for this picture.", 422)
    wanted = together_with(one) if given["whole_session"] else [one]
    try:
        runs = actions.measure_by_strokes(
            micrographs=wanted, classifier=chosen, reason=given["reason"], by=request.user
        )
    except ValidationError as error:
        return _show(request, one, " ".join(error.messages), 422)
    messages.success(request, f"{len(runs)} measured by strokes in the background; what was measured stays.")
    return redirect("micrograph", pk)


def _told(request: HttpRequest, one: Micrograph, deed: Any, sentence: str) -> HttpResponse:
    try:
        deed()
    except ValidationError as error:
        return _show(request, one, " ".join(error.messages), 422)
    messages.success(request, sentence)
    return redirect("micrograph_strokes", one.pk)
