"""The sheet for a trial with gloves: what only people can judge of the bench."""

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from teardown.accounts.models import SignedIn
from teardown.accounts.roles import needs


@require_GET
@needs("entries.add")
def bench_trial(request: SignedIn) -> HttpResponse:
    """Show the sheet; it is printed, filled in by hand, and its result is told to whoever keeps the bench."""
    return render(request, "dissection/trial.html")
