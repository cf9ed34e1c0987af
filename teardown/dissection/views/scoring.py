"""Photographs scored again: the list of fields, and one photograph at a time."""

from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET

from teardown.accounts.models import SignedIn
from teardown.accounts.roles import needs
from teardown.dissection.actions.scoring import score
from teardown.dissection.dossier.scoring import again
from teardown.dissection.schemas import said_of
from teardown.vocabulary.models import Term


@require_GET
@needs("entries.add")
def score_again_list(request: SignedIn) -> HttpResponse:
    """List what can be scored again, and how far it was agreed on so far."""
    rows = [each for each in again(request.user) if each.waiting or each.agreed.n or each.agreed.unsure]
    return render(request, "dissection/score_again.html", {"rows": rows})


@needs("entries.add")
def score_again(request: SignedIn, term: str) -> HttpResponse:
    """Show one photograph without anything that was said of it; keep what this person says."""
    asked = get_object_or_404(Term, key=term, kind=Term.Kind.FIELD)
    found = again(request.user, only=asked.key)
    shown = found[0] if found else None
    if request.method == "POST" and shown is not None:
        wanted = request.POST.get("pair", "")
        pair = next((p for p in shown.waiting if f"{p.photograph.pk} {p.first.pk}" == wanted), None)
        try:
            if pair is None:
                raise ValidationError("This photograph waits for you no longer.")
            score(
                photograph=pair.photograph, first=pair.first, said=said_of(request.POST.get("said", "")),
                by=request.user,
            )  # fmt: skip
        except (ValidationError, PermissionDenied) as error:
            messages.error(request, " ".join(getattr(error, "messages", [str(error)])))
        return redirect("score_again", asked.key)
    pair = shown.waiting[0] if shown and shown.waiting else None
    return render(request, "dissection/score_one.html", {"asked": asked, "shown": shown, "pair": pair})
