"""Caution cards: all of them, and a new version of one."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET

from teardown.accounts.models import SignedIn
from teardown.accounts.roles import needs
from teardown.dissection import actions
from teardown.dissection.forms import CautionForm
from teardown.dissection.models import CautionCard
from teardown.dissection.rules.cautions import HEADER


@require_GET
@needs("pages.see")
def cautions(request: SignedIn) -> HttpResponse:
    """Show every card in force, with its source and what brings it up."""
    cards = CautionCard.objects.in_force().order_by("title")
    return render(request, "dissection/cautions.html", {"cards": cards, "header": HEADER})


@needs("cautions.edit")
def caution(request: SignedIn, key: str) -> HttpResponse:
    """Write a new version of a card; the versions before stay to be seen."""
    versions = list(CautionCard.objects.filter(key=key).order_by("-number"))
    card = get_object_or_404(CautionCard, key=key, number=versions[0].number if versions else 0)
    form = CautionForm(request.POST or None, initial={
        name: getattr(card, name) for name in CautionForm.Meta.fields
    })  # fmt: skip
    if request.method == "POST" and form.is_valid():
        actions.revise_caution(card=card, by=request.user, **form.cleaned_data)
        messages.success(request, "A new version stands.")
        return redirect("cautions")
    return render(request, "dissection/caution.html", {"form": form, "card": card, "versions": versions})
