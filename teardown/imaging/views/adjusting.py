"""Two thresholds tried on a crop, and a measurement with them."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from teardown.accounts.roles import needs
from teardown.imaging import actions, dossier
from teardown.imaging.forms import ByHandForm, CropForm
from teardown.imaging.runs import standing
from teardown.imaging.store import window_round
from teardown.imaging.views.one import find, words
from teardown.page.trying import tried
from teardown.science.errors import Refusal


@needs("measures.run")
def levels(request: HttpRequest, pk: int) -> HttpResponse:
    """Show two sliders over a crop; measure with what they were set to."""
    one = find(request, pk)
    result = standing([one]).get(one.pk)
    if result is None:
        messages.info(request, "The picture must be measured once before its levels can be adjusted.")
        return redirect("micrograph", pk)
    form = ByHandForm(request.POST or None)
    if request.method == "POST":
        run = tried(
            form,
            lambda: actions.measure_with_thresholds(micrograph=one, by=request.user, **form.cleaned_data),
        )
        if run is not None:
            messages.success(request, "The picture is measured with these levels; what was measured stays.")
            return redirect("micrograph", pk)
    page = dossier.adjusting_of(one, result, request.user)
    status = 422 if form.is_bound else 200
    return render(request, "imaging/levels.html", {"page": page, "form": form}, status=status)


@require_safe
@needs("measures.run")
def levels_tried(request: HttpRequest, pk: int) -> HttpResponse:
    """Tell what a crop would give with two thresholds: classes and numbers beside those that stand."""
    one = find(request, pk)
    form = CropForm(request.GET)
    result = standing([one]).get(one.pk)
    if result is None or not form.is_valid():
        return JsonResponse({"refused": words(form) or "Nothing is measured on this picture."}, status=422)
    given = form.cleaned_data
    window = window_round(one, given["x"], given["y"], dossier.CROP_SIDE, result=result)
    try:
        found = dossier.trial_of(
            one, result, window, lower=given["lower"], upper=given["upper"], hatched=given["hatched"]
        )
    except ValidationError as error:
        return JsonResponse({"refused": " ".join(error.messages)}, status=422)
    except Refusal as refusal:
        return JsonResponse({"refused": str(refusal)}, status=422)
    return JsonResponse(found, headers={"Cache-Control": "private, no-store"})
