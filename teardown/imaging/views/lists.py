"""The list of micrographs, and bringing many at once."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from teardown.accounts.roles import may, needs
from teardown.dissection.models import Sample
from teardown.files.models import Delivery
from teardown.imaging import actions, dossier
from teardown.imaging.filters import MicrographFilter, running
from teardown.imaging.forms import AddForm
from teardown.imaging.intake import plan, unfold
from teardown.imaging.models import ImagingSession, Micrograph, SessionMove
from teardown.imaging.views.one import words

PAGE = 40
OFFERED = 60


@require_safe
@needs("pages.see")
def micrographs(request: HttpRequest) -> HttpResponse:
    """List micrographs with where their measurement stands."""
    seen = (
        Micrograph.objects.visible_to(request.user)
        .select_related("receipt", "session")
        .prefetch_related("ties__sample")
    )
    asked = MicrographFilter(request.GET, queryset=seen)
    page = Paginator(asked.qs.distinct(), PAGE).get_page(request.GET.get("page"))
    shown = list(page.object_list)
    rows = dossier.rows_of(shown, running(shown))
    moves = SessionMove.objects.filter(micrograph__in=asked.qs).select_related("before", "after", "by")
    context = {
        "filter": asked,
        "page": page,
        "rows": rows,
        "may_add": may(request.user, "micrographs.add"),
        "sessions": ImagingSession.objects.values_list("name", flat=True)[:OFFERED],
        "last_move": moves.order_by("-pk").first(),
    }
    return render(request, "imaging/micrographs.html", context)


@needs("micrographs.add")
def add(request: HttpRequest) -> HttpResponse:
    """Bring pictures: book them at once for a named sample, else show the plan first."""
    form = AddForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        try:
            return _bring(request, form.cleaned_data)
        except ValidationError as error:
            form.add_error("pictures", error)
    if request.method == "POST" and "part" in request.POST:
        return JsonResponse({"refused": words(form)}, status=422)
    return render(request, "imaging/add.html", {"form": form})


def _bring(request: HttpRequest, given: dict[str, Any]) -> HttpResponse:
    session = given["session"]
    if session is not None and session.pk is None:
        session.save()
    size = float(given["pixel_size_um"]) if given["pixel_size_um"] else None
    offered = [
        actions.Offered(one.picture, one.name, one.sample, None, one.field_number, size, one.sidecar)
        for one in plan(unfold(given["pictures"]), sample=given["sample"])
    ]
    how = {"by": request.user, "session": session, "kind": given["kind"]}
    if given["part"]:
        return _lay(given["onto"], offered, how)
    if not offered:
        raise ValidationError("There is no TIFF, PNG or JPEG picture among these files.")
    if given["sample"] is None:
        delivery = actions.plan_pictures(offered=offered, **how).delivery
        if delivery is not None:
            return redirect("micrograph_delivery", delivery.pk)
        raise ValidationError("None of these files is a picture that can be measured.")
    added = actions.add_micrographs(offered=offered, **how)
    return _told(request, added, f"?sample={given['sample'].code}")


def _lay(onto: int | None, offered: list[actions.Offered], how: dict[str, Any]) -> HttpResponse:
    """Lay one part of a drop onto the plan of the parts before it; say what came of it."""
    before = get_object_or_404(Delivery, pk=onto, by=how["by"]) if onto else None
    laid = actions.plan_pictures(offered=offered, onto=before, **how)
    made = laid.delivery
    return JsonResponse(
        {
            "onto": made.pk if made else None,
            "plan": reverse("micrograph_delivery", args=[made.pk]) if made else "",
            "refused": laid.refusals,
        }
    )


def _told(request: HttpRequest, added: actions.Added, query: str = "") -> HttpResponse:
    """Say what came of it and go on to where it can be seen."""
    for one in added.refused:
        messages.error(request, f"{one.name} was not taken. {one.reason}")
    if added.known:
        messages.info(request, f"Here already, and not booked again: {len(added.known)}.")
    if added.micrographs:
        messages.success(request, f"{len(added.micrographs)} kept; cross sections are being measured.")
    everything = [*added.micrographs, *added.known]
    if len(everything) == 1:
        return redirect("micrograph", everything[0].pk)
    response = redirect("micrographs" if everything else "add_micrographs")
    if everything and query:
        response["Location"] += query
    return response


@needs("micrographs.add")
def delivery(request: HttpRequest, pk: int) -> HttpResponse:
    """Show what a drop would become; book it when confirmed."""
    found = get_object_or_404(Delivery, pk=pk, kind="imaging.micrographs", by=request.user)
    codes = {number: row["sample"] for number, row in enumerate(found.planned)}
    wrong: dict[int, str] = {}
    if request.method == "POST":
        rest = request.POST.get("sample_rest", "").strip()
        codes = {number: request.POST.get(f"sample_{number}", "").strip() or rest for number in codes}
        known = {
            one.code.upper(): one
            for one in Sample.objects.filter(code__in=[c.upper() for c in codes.values()])
        }
        wrong = {number: code for number, code in codes.items() if code and code.upper() not in known}
        if not wrong:
            samples = {number: known.get(code.upper()) for number, code in codes.items()}
            try:
                return _told(
                    request, actions.apply_pictures(delivery=found, samples=samples, by=request.user)
                )
            except ValidationError as error:
                messages.error(request, " ".join(error.messages))
                return redirect("micrographs")
    rows = [
        {"number": number, **row, "code": codes[number], "wrong": number in wrong}
        for number, row in enumerate(found.planned)
    ]
    return render(request, "imaging/delivery.html", {"delivery": found, "rows": rows, "wrong": wrong})
