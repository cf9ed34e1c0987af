"""Notes spoken at the bench: taken from a tablet's queue or a file, and what they say typed."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.views.decorators.http import require_POST

from teardown.accounts.models import SignedIn
from teardown.accounts.roles import needs
from teardown.dissection import actions
from teardown.dissection.forms.marks import GistForm
from teardown.dissection.models import AudioNote
from teardown.dissection.views.bench import find


@require_POST
@needs("entries.add")
def audio_gist(request: SignedIn, code: str, key: str) -> HttpResponse:
    """Type in one line what a spoken note says."""
    note = get_object_or_404(AudioNote.objects.filter(dissection=find(request, code)), key=key)
    form = GistForm(request.POST)
    problems = [str(sentence) for sentence in form.errors.get("gist", [])]
    if form.is_valid():
        try:
            actions.type_gist(note=note, words=form.cleaned_data["gist"], by=request.user)
        except ValidationError as error:
            problems = error.messages
    for sentence in problems:
        messages.error(request, sentence)
    return redirect(f"{reverse('bench_sheet', args=[code])}#spoken")
