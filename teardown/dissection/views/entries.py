"""One entry with its history: amended, withdrawn, moved; old photographs looked at for something new."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from teardown.accounts.models import SignedIn
from teardown.accounts.roles import needs
from teardown.dissection import actions
from teardown.dissection.dossier.cards import buttons_of
from teardown.dissection.dossier.history import history_of
from teardown.dissection.dossier.known import Known, known_entries
from teardown.dissection.dossier.lookback import Only, look_back
from teardown.dissection.forms import AmendForm, LateForm, WithdrawForm
from teardown.dissection.models import Dissection, Entry
from teardown.dissection.schemas import said_of
from teardown.dissection.views.bench import find
from teardown.dissection.views.photographs import visible
from teardown.vocabulary.models import Term


def _entry(request: SignedIn, key: str) -> Entry:
    seen = Dissection.objects.visible_to(request.user)
    return get_object_or_404(Entry.objects.filter(dissection__in=seen).with_words(), key=key)


def _amend_form(entry: Entry, data: Any = None) -> AmendForm:
    choices = [(button.said, button.words) for button in buttons_of(entry.term)]
    return AmendForm(data, choices=choices, kind=entry.term.data["kind"])


@needs("pages.see")
def entry(request: SignedIn, key: str) -> HttpResponse:
    """Show an entry with everything that was ever said in its place."""
    shown = _entry(request, key)
    context = {
        "entry": shown,
        "history": history_of(shown),
        "amend": _amend_form(shown),
        "withdraw": WithdrawForm(),
        "cell": shown.dissection.cell,
        "house": request.user.may("cells.see_open"),
    }
    return render(request, "dissection/entry.html", context)


@require_POST
@needs("entries.amend")
def entry_amend(request: SignedIn, key: str) -> HttpResponse:
    """Put a later entry in its place."""
    shown = _entry(request, key)
    form = _amend_form(shown, request.POST)
    if form.is_valid():
        said = form.cleaned_data
        changes = said_of(said["said"]) if said.get("said") else {}
        if said["value"]:
            changes["value"] = said["value"]
        try:
            if not changes:
                raise ValidationError("Nothing is different; say what it is.")
            new = actions.amend(
                entry=shown, by=request.user, reason=said["reason"], reason_text=said["reason_text"],
                confirmed_unusual=bool(said.get("twice")), **changes,
            )  # fmt: skip
        except ValidationError as error:
            form.add_error(None, error.messages)
        else:
            messages.success(request, "Amended; what it said before stays to be seen.")
            return redirect("entry", new.key)
    return render(request, "dissection/entry.html", {
        "entry": shown, "history": history_of(shown), "amend": form, "withdraw": WithdrawForm(),
        "cell": shown.dissection.cell,
    }, status=422)  # fmt: skip


@require_POST
@needs("entries.amend")
def entry_withdraw(request: SignedIn, key: str) -> HttpResponse:
    """Take an entry back, or move it to the cell that it belongs to."""
    shown = _entry(request, key)
    form = WithdrawForm(request.POST)
    if form.is_valid():
        said = form.cleaned_data
        try:
            if said["to"]:
                (new,) = actions.move(
                    entries=[shown], to=find(request, said["to"].strip()), by=request.user,
                    reason=said["reason"], reason_text=said["reason_text"],
                )  # fmt: skip
            else:
                new = actions.withdraw(
                    entry=shown, by=request.user, reason=said["reason"], reason_text=said["reason_text"]
                )
        except ValidationError as error:
            form.add_error(None, error.messages)
        else:
            messages.success(
                request, "Moved, with its own time." if said["to"] else "Withdrawn; it stays to be seen."
            )
            return redirect("entry", new.key)
    return render(request, "dissection/entry.html", {
        "entry": shown, "history": history_of(shown), "amend": _amend_form(shown), "withdraw": form,
        "cell": shown.dissection.cell,
    }, status=422)  # fmt: skip


@needs("pages.see")
def look_back_list(request: SignedIn, term: str) -> HttpResponse:
    """List earlier photographs on which something that is asked only now may be seen."""
    asked = get_object_or_404(Term, key=term, kind=Term.Kind.FIELD)
    known = Known.read(request.GET.get("on", ""))
    only = _only(request)
    rows = look_back(asked, request.user, known.seq, only)
    context = {"asked": asked, "list": rows, "known": known, "only": only}
    return render(request, "dissection/look_back.html", context)


@needs("pages.see")
def bench_known(request: SignedIn, code: str) -> HttpResponse:
    """Show a dissection as it was known on a day: what came or changed later is left out."""
    dissection = find(request, code)
    known = Known.read(request.GET.get("on", ""))
    context = {"cell": dissection.cell, "known": known, "rows": known_entries(dissection, known)}
    return render(request, "dissection/known.html", context)


@needs("entries.add")
def look_back_at(request: SignedIn, term: str, key: str) -> HttpResponse:
    """Look at one photograph for it: present, absent or cannot tell, with a rectangle."""
    asked = get_object_or_404(Term, key=term, kind=Term.Kind.FIELD)
    shown = get_object_or_404(visible(request), key=key, dissection__isnull=False)
    dissection = get_object_or_404(Dissection, pk=shown.dissection_id)
    form = LateForm(request.POST or None, initial={"left": 0, "top": 0, "right": 1, "bottom": 1})
    form.fields["said"].choices = [(button.said, button.words) for button in buttons_of(asked)]  # type: ignore[attr-defined]
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        label = shown.label
        try:
            actions.log_entry(
                dissection=dissection, term=asked.key, by=request.user, source="photo", photo=shown.key,
                box=tuple(float(said[side]) for side in ("left", "top", "right", "bottom")),
                place=(label.place if label and asked.data.get("per") == "place" else "") or
                      ("whole" if asked.data.get("per") == "place" else ""),
                observed_at=shown.taken_at, observed_precision=shown.taken_precision, **said_of(said["said"]),
            )  # fmt: skip
        except ValidationError as error:
            form.add_error(None, error.messages)
        else:
            only = _only(request)
            following = look_back(asked, request.user, only=only).next_after(shown)
            address = (
                reverse("look_back_at", args=[asked.key, following.key])
                if following is not None
                else reverse("look_back", args=[asked.key])
            )
            return redirect(f"{address}?{only.query}" if only.query else address)
    context = {"asked": asked, "photograph": shown, "form": form, "only": _only(request)}
    return render(request, "dissection/look_back_at.html", context)


def _only(request: SignedIn) -> Only:
    return Only.read(request.GET.get("face", ""), request.GET.get("within", ""))
