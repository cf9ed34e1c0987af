"""Instruments: the list with their last checks, a new one, a check."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from teardown.accounts.models import SignedIn
from teardown.accounts.roles import needs
from teardown.dissection import actions
from teardown.dissection.forms import CheckForm, InstrumentForm
from teardown.dissection.models import Instrument


@needs("instruments.keep")
def instruments(request: SignedIn) -> HttpResponse:
    """List instruments; make a new one known."""
    form = InstrumentForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            actions.add_instrument(by=request.user, **form.cleaned_data)
        except ValidationError as error:
            form.add_error(None, error.messages)
        else:
            messages.success(request, "It is known now.")
            return redirect("instruments")
    known = Instrument.objects.filter(retired_at=None).prefetch_related("checks__by")
    return render(
        request, "dissection/instruments.html", {"form": form, "instruments": known, "check": CheckForm()}
    )


@require_POST
@needs("instruments.keep")
def instrument_check(request: SignedIn, pk: int) -> HttpResponse:
    """Note a check."""
    instrument = get_object_or_404(Instrument, pk=pk)
    form = CheckForm(request.POST)
    if form.is_valid():
        said = form.cleaned_data
        actions.check_instrument(
            instrument=instrument, against=said["against"], passed=said["passed"] == "yes", note=said["note"],
            by=request.user,
        )  # fmt: skip
        messages.success(request, "Noted.")
    else:
        messages.error(request, "Say against what it was checked, and what came out.")
    return redirect("instruments")
