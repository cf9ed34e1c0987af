"""Name the microscope session of pictures that came without one; move pictures to another."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from teardown.accounts.roles import demand
from teardown.imaging.models import ImagingSession, Levels, Micrograph, SessionMove
from teardown.imaging.runs import ask_section
from teardown.records.actions import record


@transaction.atomic
def name_session(*, micrographs: Sequence[Micrograph], name: str, by: Any) -> int:
    """Put pictures into the session of this name, which is begun where there is none; give how many.

    Pictures that are of a session already stay in theirs. Where the session's levels are pinned, the cross
    sections are measured with them.

    Raises
    ------
    ValidationError
        If no name is given, or none of the pictures is without a session.
    """
    demand(by, "micrographs.add")
    wanted = [one for one in micrographs if one.session_id is None]
    if not name.strip():
        raise ValidationError("Give the name of the session.")
    if not wanted:
        raise ValidationError("Each of these pictures is of a session already.")
    session = _named(name.strip())
    Micrograph.objects.filter(pk__in=[one.pk for one in wanted], session__isnull=True).update(session=session)
    pinned = session.levels.exists()
    for one in wanted:
        one.refresh_from_db(fields=["session"])
        if pinned and one.kind == Micrograph.Kind.SECTION:
            move = one.session_moves.last()
            since: dict[str, Any] = {"session_move": move.pk} if move else {}
            ask_section(one, by=by, **since)
    payload = {"micrographs": [one.pk for one in wanted]}
    record(verb="named the session of pictures", subject=session, by=by, payload=payload)
    return len(wanted)


@transaction.atomic
def move_session(*, micrographs: Sequence[Micrograph], name: str, reason: str, by: Any) -> list[SessionMove]:
    """Put pictures into the session of this name, whichever they were of; without a name, of none.

    Each move is written down with its reason, and moving back is another move. What was measured stays;
    where levels are pinned, in the session that is left or in the one that is joined, cross sections are
    measured again as they now count.

    Raises
    ------
    ValidationError
        If no reason is given, or all of the pictures are there already.
    """
    demand(by, "micrographs.add")
    if not reason.strip():
        raise ValidationError("Say why the session changes.")
    session = _named(name.strip()) if name.strip() else None
    # locked, so that two who move the same picture at once come one after the other
    held = Micrograph.objects.select_for_update().filter(pk__in=[one.pk for one in micrographs])
    now = dict(held.values_list("pk", "session_id"))
    there = session.pk if session else None
    wanted = [one for one in micrographs if now[one.pk] != there]
    if not wanted:
        raise ValidationError(
            f"All of these pictures are of session {session} already."
            if session
            else "None of these pictures is of a session."
        )
    made = _carry_out([(one, session) for one in wanted], now, reason.strip(), by)
    subject = session or made[0].before
    assert subject is not None  # without a session to join, each of them left one
    verb = "moved pictures here" if session else "took pictures out"
    record(verb=verb, subject=subject, by=by, reason=reason, payload=_payload(made))
    return made


@transaction.atomic
def move_back(*, micrographs: Sequence[Micrograph], reason: str, by: Any) -> list[SessionMove]:
    """Take back the latest move among pictures: each goes to the session that it was of before.

    Those that were moved with it, to the same session for the same reason by the same person, and are there
    still, go back together, each to its own.

    Raises
    ------
    ValidationError
        If no reason is given, or none of the pictures was moved.
    """
    demand(by, "micrographs.add")
    if not reason.strip():
        raise ValidationError("Say why the move is taken back.")
    held = Micrograph.objects.select_for_update().filter(pk__in=[one.pk for one in micrographs])
    now = dict(held.values_list("pk", "session_id"))
    rows = SessionMove.objects.filter(micrograph__in=now).select_related("before", "after").order_by("pk")
    latest = {move.micrograph_id: move for move in rows}
    if not latest:
        raise ValidationError("None of these pictures was moved.")
    newest = max(latest.values(), key=lambda move: move.pk)
    alike = {
        number: move
        for number, move in latest.items()
        if (move.after_id, move.reason, move.by_id) == (newest.after_id, newest.reason, newest.by_id)
        and now[number] == move.after_id
    }
    wanted = [(one, alike[one.pk].before) for one in micrographs if one.pk in alike]
    made = _carry_out(wanted, now, reason.strip(), by)
    subject = newest.after or newest.before
    assert subject is not None  # a move leaves a session or joins one
    record(verb="took a move back", subject=subject, by=by, reason=reason, payload=_payload(made))
    return made


def _payload(moves: Sequence[SessionMove]) -> dict[str, Any]:
    return {"micrographs": {str(move.micrograph_id): move.before_id for move in moves}}


def _carry_out(
    wanted: Sequence[tuple[Micrograph, ImagingSession | None]],
    now: Mapping[int, int | None],
    reason: str,
    by: Any,
) -> list[SessionMove]:
    """Move each picture to its session, and have it measured where levels are pinned here or there."""
    concerned = {*now.values(), *(session.pk for _, session in wanted if session)}
    pinned = set(Levels.objects.filter(session__in=concerned).values_list("session", flat=True))
    made = [_move(one, now[one.pk], session, reason, by) for one, session in wanted]
    for (one, _), move in zip(wanted, made, strict=True):
        if one.kind == Micrograph.Kind.SECTION and pinned & {move.before_id, move.after_id}:
            # the move is part of the question: going back to earlier levels is a question of its own
            ask_section(one, by=by, session_move=move.pk)
    return made


def _move(
    one: Micrograph, before: int | None, session: ImagingSession | None, reason: str, by: Any
) -> SessionMove:
    move = SessionMove(micrograph=one, before_id=before, after=session, reason=reason, by=by)
    move.full_clean()
    move.save()
    Micrograph.objects.filter(pk=one.pk).update(session=session)
    one.refresh_from_db(fields=["session"])
    return move


def _named(name: str) -> ImagingSession:
    """Find the session of this name, or begin it."""
    session = ImagingSession.objects.filter(name=name).first()
    if session is None:
        session = ImagingSession(name=name)
        session.full_clean()
        session.save()
    return session
