"""One table of roles and actions, read by the application and by the test of every route."""

from collections.abc import Callable, Iterable
from functools import wraps
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import models
from django.http import HttpRequest, HttpResponseBase


class Role(models.TextChoices):
    """What a person may be here. A person may be several."""

    BENCH = "bench", "bench chemist"
    OPERATOR = "operator", "operator (microscopy, diffraction)"
    ANALYST = "analyst", "analyst"
    REVIEWER = "reviewer", "reviewer"
    LEAD = "lead", "lab lead"
    ADMINISTRATOR = "administrator", "administrator"
    GUEST = "guest", "guest (reads closed cells)"
    INSTRUMENT = "instrument", "instrument (interface only)"


B, O, A, R, L, AD, G, I = (  # noqa: E741 - one letter a column keeps the table a table
    Role.BENCH, Role.OPERATOR, Role.ANALYST, Role.REVIEWER, Role.LEAD, Role.ADMINISTRATOR, Role.GUEST,
    Role.INSTRUMENT,
)  # fmt: skip
ANYONE = frozenset({"anyone"})
LAB = frozenset({B, O, A, R, L})

ACTIONS: dict[str, tuple[str, frozenset[str]]] = {
    # action               what it is, for the sentence of a refusal         who may
    "health.see":         ("see whether the application is well",            ANYONE),
    "account.use":        ("sign in and out",                                ANYONE),
    "account.own":        ("see and change one's own account",               LAB | {AD, G}),
    "people.manage":      ("manage people and their roles",                  frozenset({AD})),
    "pages.see":          ("read the pages",                                 frozenset({B, O, A, R, L, G})),
    "cells.see_open":     ("see cells that are not closed yet",              LAB),
    "recipes.see":        ("see recipes",                                    frozenset({O, A, R, L})),
    "recipes.write":      ("write recipes",                                  frozenset({A, L})),
    "cells.import":       ("import recipes and cells",                       frozenset({A, L})),
    "tests.manage":       ("start, seat and end tests",                      frozenset({A, L})),
    "studies.keep":       ("keep named sets of cells",                       frozenset({A, R, L})),
    "cycling.import":     ("import cycling files",                           frozenset({A, L, I})),
    "bench.assign":       ("assign bench time",                              frozenset({L})),
    "dissection.start":   ("start a dissection",                             frozenset({B, A, L})),
    "entries.add":        ("log observations and photographs",               frozenset({B, A, R, L})),
    "entries.scribe":     ("log what another person observes",               frozenset({B, A, L})),
    "older.bring":        ("bring in older records of dissections",          frozenset({B, A, L})),
    "codes.mend":         ("name a wrongly named cell anew",                 frozenset({A, L})),
    "entries.amend":      ("amend or withdraw an entry",                     frozenset({B, A, R, L})),
    "amendments.acknowledge": ("acknowledge a late amendment",           frozenset({R, L})),
    "samples.cut":        ("cut and name samples, mounts and sections",      frozenset({B, O, A, L})),
    "custody.move":       ("hand a sample on",                               frozenset({B, O, A, R, L})),
    "dissection.close":   ("close and sign a dissection",                    frozenset({B, A, R, L})),
    "micrographs.add":    ("add micrographs, their scale and regions",       frozenset({B, O, A, L, I})),
    "measures.run":       ("have an image measured",                         LAB),
    "measures.review":    ("accept or reject a measurement",                 frozenset({O, A, R, L})),
    "patterns.add":       ("add diffraction patterns and phase fractions",   frozenset({O, A, L, I})),
    "images.mark":        ("mark places on images",                          LAB),
    "modes.propose":      ("propose a failure mode",                         frozenset({B, A, R, L})),
    "modes.judge":        ("judge failure modes",                            frozenset({A, R, L})),
    "modes.decide":       ("decide between judgements",                      frozenset({R, L})),
    "questions.ask":      ("ask questions and take tables away",             frozenset({B, O, A, R, L, G})),
    "next_round.plan":    ("plan the next round",                            frozenset({A, R, L})),
    "archive.take":       ("take the whole archive away",                    frozenset({A, L})),
    "records.read":       ("read the records of who did what",               frozenset({B, O, A, R, L, AD})),
    "instruments.keep":   ("keep instruments and their checks",              frozenset({B, O, A, L})),
    "vocabulary.edit":    ("edit the vocabulary",                            frozenset({L})),
    "cautions.edit":      ("edit caution cards",                             frozenset({L})),
    "files.see":          ("see and download stored files",                  frozenset({B, O, A, R, L, G})),
    "backup.make":        ("back up and restore",                            frozenset({AD})),
}  # fmt: skip


def roles_that_may(action: str) -> frozenset[str]:
    """Tell which roles may do this."""
    return ACTIONS[action][1]


def may(user: Any, action: str) -> bool:
    """Tell whether this person may do this."""
    allowed = roles_that_may(action)
    return allowed is ANYONE or (user.is_authenticated and not allowed.isdisjoint(user.roles))


def words(roles: Iterable[str]) -> str:
    """List roles in words: "analysts and lab leads"."""
    names = [f"{Role(role).label.split(' (')[0]}s" for role in Role.values if role in set(roles)]
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def refusal(user: Any, action: str) -> str:
    """Say who may and who is asking."""
    own = words(user.roles) if getattr(user, "roles", None) else "nobody with a role"
    who, what = words(roles_that_may(action)), ACTIONS[action][0]
    return f"Only {who} may {what}; you are signed in as one of the {own}."


def demand(user: Any, action: str) -> None:
    """Refuse in words what this person may not do.

    Raises
    ------
    PermissionDenied
        With a sentence that says who may.
    """
    if not may(user, action):
        raise PermissionDenied(refusal(user, action))


def needs(action: str) -> Callable[[Callable[..., HttpResponseBase]], Callable[..., HttpResponseBase]]:
    """Hold a view to a row of the table; the test of every route reads ``view.action``."""
    if action not in ACTIONS:
        raise KeyError(f"{action} is not in the table of actions.")

    def hold(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
        @wraps(view)
        def held(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            demand(request.user, action)
            return view(request, *args, **kwargs)

        held.action = action  # type: ignore[attr-defined]
        if roles_that_may(action) is ANYONE:
            held.login_required = False  # type: ignore[attr-defined]
        return held

    return hold
