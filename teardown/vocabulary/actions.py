"""What the lab lead does with words: new, reworded, retired, merged. Each makes a new version.

Keys are never used again, entries keep the key and version they were made under, and what was not in the
vocabulary when a cell was opened counts as not asked.
"""

import datetime as dt
from collections.abc import Iterable, Mapping
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from teardown.accounts.roles import demand
from teardown.records.actions import record
from teardown.records.models import StaleVersion
from teardown.vocabulary.models import Term, Version
from teardown.vocabulary.rules import FIXED, MOST_ANSWERS, may_be_retired, slug


def new_term(
    *,
    kind: str,
    words: str,
    by: Any,
    reason: str = "",
    family: str = "",
    explanation: str = "",
    parent: Term | None = None,
    data: Mapping[str, Any] | None = None,
    answers: Iterable[str] = (),
    at: dt.datetime | None = None,
) -> Term:
    """Add a term, with the answers to it if it is a question; both are asked from the new version on.

    Parameters
    ----------
    kind : str
        One of ``Term.Kind``, of a list that laboratories may extend.
    data : mapping
        What the kind needs beside words: card, kind, unit, component of a field; censors of an end.
    answers : iterable of str
        Words of the answers to a field.

    Raises
    ------
    ValidationError
        If the list is fixed, the words are taken, or a field has too many answers.
    """
    _demand(by)
    answers = [text.strip() for text in answers if text.strip()]
    _check(kind, words, parent, answers)
    with transaction.atomic():
        version = _next_version(f"new: {words}", at)
        term = _write(
            kind, words, version, family=family, help=explanation, parent=parent, data=dict(data or {})
        )
        for text in answers:
            _write(Term.Kind.ANSWER, text, version, parent=term)
        record(
            verb="added",
            subject=term,
            by=by,
            reason=reason,
            at=at,
            payload={"version": version.number, "key": term.key, "words": words, "answers": answers},
        )
    return term


def reword_term(
    *,
    term: Term,
    seen: int,
    words: str,
    by: Any,
    explanation: str = "",
    reason: str = "",
    at: dt.datetime | None = None,
) -> Term:
    """Change the words of a term; its meaning and key stay.

    Parameters
    ----------
    seen : int
        The number of the vocabulary's version that the person saw.

    Raises
    ------
    StaleVersion
        If the vocabulary changed in between.
    """
    _demand(by)
    before = {"words": term.words, "help": term.help}
    with transaction.atomic():
        term = _as_seen(term, seen)
        others = Term.objects.filter(kind=term.kind, parent=term.parent, words__iexact=words.strip())
        if others.exclude(pk=term.pk).exists():
            raise ValidationError({"words": f"“{words}” stands in this list already."})
        version = _next_version(f"reworded: {before['words']} to {words}", at)
        term.words, term.help = words.strip(), explanation
        term.full_clean()
        term.save()
        record(
            verb="reworded",
            subject=term,
            by=by,
            reason=reason,
            at=at,
            payload={
                "version": version.number,
                "before": before,
                "after": {"words": term.words, "help": explanation},
            },
        )
    return term


def retire_term(*, term: Term, seen: int, reason: str, by: Any, at: dt.datetime | None = None) -> Term:
    """Ask it no more from the new version on; what was said with it stays.

    Raises
    ------
    ValidationError
        If no reason is given, it is retired already, or the application rests on it.
    """
    return _retire(term, None, seen, reason, by, at)


def merge_terms(
    *, term: Term, into: Term, seen: int, reason: str, by: Any, at: dt.datetime | None = None
) -> Term:
    """Retire a term in favour of another of its kind; the old key keeps pointing to the new.

    Raises
    ------
    ValidationError
        If they differ in kind or question, or the other is retired or the same.
    """
    if term.pk == into.pk:
        raise ValidationError({"into": "A term is not merged into itself."})
    if (term.kind, term.parent_id) != (into.kind, into.parent_id):
        raise ValidationError({"into": f"“{into}” is not of the same list as “{term}”."})
    if into.retired_at is not None:
        raise ValidationError({"into": f"“{into}” is retired itself."})
    return _retire(term, into, seen, reason, by, at)


def _retire(term: Term, into: Term | None, seen: int, reason: str, by: Any, at: dt.datetime | None) -> Term:
    _demand(by)
    if not reason.strip():
        raise ValidationError({"reason": "Say why it is asked no more."})
    if said := may_be_retired(term.kind, term.key):
        raise ValidationError(said)
    with transaction.atomic():
        term = _as_seen(term, seen)
        if term.retired_at is not None:
            raise ValidationError(f"“{term}” is retired already.")
        verb = "merged" if into else "retired"
        version = _next_version(f"{verb}: {term.words}" + (f" into {into.words}" if into else ""), at)
        term.retired_at, term.merged_into = at or timezone.now(), into
        term.full_clean()
        term.save()
        record(
            verb=verb,
            subject=term,
            by=by,
            reason=reason,
            at=at,
            payload={"version": version.number, "key": term.key, "into": into.key if into else ""},
        )
    return term


def _check(kind: str, words: str, parent: Term | None, answers: list[str]) -> None:
    if kind in FIXED:
        raise ValidationError("This list is the same in every laboratory; it takes no new entries.")
    if not words.strip():
        raise ValidationError({"words": "Give it words."})
    same = Term.objects.filter(kind=kind, parent=parent, words__iexact=words.strip()).first()
    if same is not None:
        state = "and is retired" if same.retired_at else "already"
        raise ValidationError({"words": f"“{same}” stands in this list {state}."})
    if kind == Term.Kind.ANSWER and parent is None:
        raise ValidationError({"parent": "Say what it answers."})
    standing = Term.objects.filter(parent=parent, retired_at=None).count() if parent else 0
    if max(len(answers), standing + 1 if parent else 0) > MOST_ANSWERS:
        raise ValidationError(f"At most {MOST_ANSWERS} answers fit a card; retire one first, or ask twice.")
    if len({text.casefold() for text in answers}) < len(answers):
        raise ValidationError({"answers": "Two answers are the same."})


def _write(kind: str, words: str, version: Version, *, parent: Term | None = None, **fields: Any) -> Term:
    base = f"{parent.key}.{slug(words)}" if parent else f"{_stem(kind, fields)}.{slug(words)}"
    base = base[:56]
    taken = set(Term.objects.filter(key__startswith=base).values_list("key", flat=True))
    key = next(k for n in range(1, len(taken) + 2) if (k := base if n == 1 else f"{base}_{n}") not in taken)
    last = Term.objects.filter(kind=kind, parent=parent).aggregate(last=Max("order"))["last"]
    term = Term(
        key=key,
        kind=kind,
        words=words.strip(),
        asked_since=version,
        parent=parent,
        order=0 if last is None else last + 1,
        **fields,
    )
    term.full_clean()
    term.save()
    return term


def _stem(kind: str, fields: Mapping[str, Any]) -> str:
    return str(fields.get("data", {}).get("card") or kind) if kind == Term.Kind.FIELD else kind


def _next_version(note: str, at: dt.datetime | None) -> Version:
    last = Version.objects.aggregate(last=Max("number"))["last"] or 0
    return Version.objects.create(number=last + 1, since=at or timezone.now(), note=note[:500])


def _as_seen(term: Term, seen: int) -> Term:
    now = Term.objects.select_for_update().get(pk=term.pk)
    last = Version.objects.aggregate(last=Max("number"))["last"] or 0
    if last != seen:
        raise StaleVersion(now, seen)
    return now


def _demand(by: Any) -> None:
    if by is not None:
        demand(by, "vocabulary.edit")
