"""What is tapped on a photograph: corners of the electrode, a place, the outline of a piece."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.forms import Form
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_POST

from teardown.accounts.models import SignedIn
from teardown.accounts.roles import needs
from teardown.dissection import actions
from teardown.dissection.dossier.cards import part_buttons
from teardown.dissection.forms.marks import CornersForm, OutlineForm, PlaceForm
from teardown.dissection.models import Photograph
from teardown.dissection.views.photographs import visible


def _shown(request: SignedIn, key: str) -> Photograph:
    return get_object_or_404(visible(request), key=key, dissection__isnull=False)


def _deed(
    request: SignedIn, key: str, form: Form, deed: Callable[[dict[str, Any]], Any], done: Callable[[Any], str]
) -> HttpResponse:
    """Do what a form says, or say why not; go back to the photograph."""
    problems = [str(sentence) for sentences in form.errors.values() for sentence in sentences]
    if not problems:
        try:
            messages.success(request, done(deed(form.cleaned_data)))
        except ValidationError as error:
            problems = error.messages
    for sentence in problems:
        messages.error(request, sentence)
    return redirect("photograph", key)


@require_POST
@needs("entries.add")
def photograph_corners(request: SignedIn, key: str) -> HttpResponse:
    """Fix the electrode on a photograph by its four corners."""
    shown = _shown(request, key)
    form = CornersForm(request.POST, parts=part_buttons(shown.dissection) if shown.dissection else [])

    def fix(said: dict[str, Any]) -> Any:
        component, _, number = said["part"].partition(" ")
        return actions.fix_electrode(
            photograph=shown, corners=said["corners"], face=said["face"], component=component,
            number=int(number or 1), by=request.user,
        )  # fmt: skip

    return _deed(request, key, form, fix, lambda fixed: f"Face {fixed.face} of the {fixed.part} is fixed.")


@require_POST
@needs("entries.add")
def photograph_place(request: SignedIn, key: str) -> HttpResponse:
    """Mark the place that a photograph is of."""
    shown = _shown(request, key)
    return _deed(
        request, key, PlaceForm(request.POST),
        lambda said: actions.mark_place(
            photograph=shown, x=said["point"][0], y=said["point"][1], by=request.user
        ),
        lambda label: f"It shows {label.place}.",
    )  # fmt: skip


@require_POST
@needs("samples.cut")
def photograph_outline(request: SignedIn, key: str) -> HttpResponse:
    """Outline a piece on a photograph."""
    shown = _shown(request, key)
    return _deed(
        request, key, OutlineForm(request.POST, photograph=shown),
        lambda said: actions.outline_piece(
            sample=said["sample"], photograph=shown, points=said["points"], by=request.user
        ),
        lambda outline: f"Sample {outline.sample} is outlined.",
    )  # fmt: skip
