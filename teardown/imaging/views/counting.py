"""Counts by eye on the screen."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from teardown.accounts.roles import needs
from teardown.imaging import actions, dossier, store
from teardown.imaging.forms import CountForm
from teardown.imaging.models import Count, Micrograph
from teardown.imaging.rules import LINE_SETS
from teardown.imaging.runs import standing
from teardown.imaging.views.one import find, show, words


@needs("measures.review")
def count(request: HttpRequest, pk: int, kind: str) -> HttpResponse:
    """Count by eye: points of a grid, or crossings, one after the other; their places are set before
    looking."""
    one = find(request, pk)
    if kind not in Count.Kind.values:
        raise Http404("No such count.")
    if request.method == "POST":
        form = CountForm(request.POST)
        if not form.is_valid():
            return show(request, one, 422, refused=words(form))
        try:
            actions.add_count(micrograph=one, kind=kind, by=request.user, **form.cleaned_data)
        except ValidationError as error:
            return show(request, one, 422, refused=" ".join(error.messages))
        messages.success(request, "The count is kept.")
        return redirect(f"{reverse('micrograph', args=[pk])}#counts")
    again = _other(request, one, kind)
    seed = again.seed if again else store.seeds_of(one, kind)[-1]
    result = one.results.filter(run=again.run_id).first() if again else standing([one]).get(one.pk)
    lines = _lines(request, kind, again)
    places = store.places_of(one, kind, seed, result, lines)
    answers = actions.ANSWERS if kind == "points" else ("oxide", "pore", "cannot tell")
    context = {
        "micrograph": one,
        "kind": kind,
        "seed": seed,
        "run": result.run_id if result else "",
        "again": again,
        "lines": lines,
        "line_words": LINE_SETS.get(lines, ""),
        "places": places,
        "answers": [(str(number), answer) for number, answer in enumerate(answers, start=1)],
        "levels": dossier.count_levels(one.width_px, one.height_px),
    }
    return render(request, "imaging/count.html", context)


def _lines(request: HttpRequest, kind: str, again: Count | None) -> str:
    """Give the set of test lines: that of the count that is counted again, else the one asked for."""
    if kind == Count.Kind.POINTS:
        return ""
    if again is not None:
        return str(again.found.get("lines", actions.LINES[0]))
    asked = request.GET.get("lines", "")
    return asked if asked in actions.LINES else actions.LINES[0]


def _other(request: HttpRequest, one: Micrograph, kind: str) -> Count | None:
    """Find the count that is counted again at the same places, if the address names one."""
    number = request.GET.get("again", "")
    if not number.isdecimal() or len(number) > 17:
        return None
    return one.counts.filter(kind=kind, pk=int(number)).select_related("by").first()
