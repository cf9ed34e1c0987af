"""Photographs scored again by a second person, blind to the first."""

import datetime as dt
from collections.abc import Mapping
from typing import Any

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.utils import timezone

from teardown.accounts.models import User
from teardown.accounts.roles import demand
from teardown.dissection.models import Entry, Photograph, Score
from teardown.records.actions import record
from teardown.vocabulary.models import Term, Version


def score(
    *,
    photograph: Photograph,
    first: Entry,
    said: Mapping[str, Any],
    by: User,
    at: dt.datetime | None = None,
) -> Score:
    """Keep what a second person says of a photograph, beside what the first said; it changes nothing there.

    Parameters
    ----------
    first : Entry
        What the first person said of the same part and place.
    said : mapping
        ``answer``, ``state`` or ``extent``, as a button of the bench says it.

    Raises
    ------
    PermissionDenied
        If the first was this person.
    ValidationError
        If this person scored it before, or the answer is none of the field.
    """
    demand(by, "entries.add")
    if by.pk in (first.observer_id, first.scribe_id):
        raise PermissionDenied("You said it the first time; a second person scores it again.")
    if Score.objects.filter(photograph=photograph, first=first, by=by).exists():
        raise ValidationError("You have scored this photograph already.")
    now, term = at or timezone.now(), first.term
    answer = None
    if key := said.get("answer", ""):
        answer = Term.objects.filter(key=key, parent=term).first()
        if answer is None:
            raise ValidationError(f"“{key}” is no answer to “{term}”.")
    state = said.get("state") or Entry.State.PRESENT
    if state not in (Entry.State.PRESENT, Entry.State.ABSENT, Entry.State.CANNOT_TELL):
        raise ValidationError(f"“{state}” is none of: present, absent, cannot tell.")
    if term.data["kind"] == "choice" and state == Entry.State.PRESENT and answer is None:
        raise ValidationError(f"Choose an answer to “{term}”.")
    version = Version.objects.order_by("-number").first()
    assert version is not None
    with transaction.atomic():
        made = Score(
            photograph=photograph, term=term, vocabulary=version, first=first, state=state, answer=answer,
            extent=said.get("extent", ""), by=by, at=now,
        )  # fmt: skip
        made.full_clean()
        made.save()
        record(
            verb="scored again",
            subject=first.dissection,
            by=by,
            at=now,
            payload={"photograph": photograph.key, "term": term.key, "said": made.said},
        )
    return made
