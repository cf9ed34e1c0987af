"""Microscope sessions on the screen."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.db import models as db
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_safe

from teardown.accounts.roles import demand, needs
from teardown.imaging import actions, dossier
from teardown.imaging.forms import LevelsForm
from teardown.imaging.models import ImagingSession

PAGE = 40


@require_safe
@needs("pages.see")
def sessions(request: HttpRequest) -> HttpResponse:
    """List the sittings at the microscope."""
    found = (
        ImagingSession.objects.annotate(fields=db.Count("micrographs"))
        .prefetch_related("levels")
        .order_by("-pk")
    )
    page = Paginator(found, PAGE).get_page(request.GET.get("page"))
    return render(request, "imaging/sessions.html", {"page": page})


@needs("pages.see")
def session(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one sitting: what levels its fields show, which are pinned; pin them."""
    found = get_object_or_404(ImagingSession, pk=pk)
    shown = dossier.session_of(found, request.user)
    form = LevelsForm(request.POST or None, initial=shown.proposed)
    if request.method == "POST":
        demand(request.user, "micrographs.add")
        if form.is_valid():
            greys: dict[str, Any] = {
                key: float(value) for key, value in form.cleaned_data.items() if value is not None
            }
            try:
                actions.pin_levels(session=found, by=request.user, **greys)
            except ValidationError as error:
                form.add_error(None, error)
            else:
                messages.success(
                    request, "The levels are pinned; the session's fields are measured with them."
                )
                return redirect("imaging_session", pk)
    return render(request, "imaging/session.html", {"page": shown, "form": form})
