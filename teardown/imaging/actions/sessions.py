"""Name the microscope session of pictures that came without one."""

from collections.abc import Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from teardown.accounts.roles import demand
from teardown.imaging.models import ImagingSession, Micrograph
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
    session = ImagingSession.objects.filter(name=name.strip()).first()
    if session is None:
        session = ImagingSession(name=name.strip())
        session.full_clean()
        session.save()
    Micrograph.objects.filter(pk__in=[one.pk for one in wanted], session__isnull=True).update(session=session)
    pinned = session.levels.exists()
    for one in wanted:
        one.refresh_from_db(fields=["session"])
        if pinned and one.kind == Micrograph.Kind.SECTION:
            ask_section(one, by=by)
    payload = {"micrographs": [one.pk for one in wanted]}
    record(verb="named the session of pictures", subject=session, by=by, payload=payload)
    return len(wanted)
