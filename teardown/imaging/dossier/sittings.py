"""What the page of a microscope session shows."""

from dataclasses import dataclass
from statistics import median
from typing import Any

from teardown.accounts.roles import may
from teardown.imaging.models import ImagingSession, Levels, Micrograph, SectionResult


@dataclass(frozen=True, slots=True)
class SessionField:
    """The levels that one field of a session shows."""

    micrograph: Micrograph
    pore: float
    oxides: tuple[float, ...]
    metal: float
    sigma: float
    source: str
    drift: float


@dataclass(frozen=True, slots=True)
class SessionPage:
    """One sitting: its fields' levels, how far they drift, what is pinned, what is proposed."""

    session: ImagingSession
    fields: tuple[SessionField, ...]
    pinned: tuple[Levels, ...]
    proposed: dict[str, float]
    drifting: tuple[SessionField, ...]
    may_pin: bool


DRIFT = 0.03


def session_of(session: ImagingSession, user: Any) -> SessionPage:
    """Gather a session's page; the proposed levels are the medians over fields that found their own."""
    shown = list(session.micrographs.filter(kind=Micrograph.Kind.SECTION).select_related("receipt"))
    own: dict[int, SectionResult] = {}
    for result in SectionResult.objects.filter(micrograph__in=shown).order_by("pk"):
        if result.levels["source"] == "automatic":
            own[result.micrograph_id] = result
    levels = [result.levels for result in own.values()]
    proposed = {}
    if levels:
        greys = {
            "pore": median(one["pore"] for one in levels),
            "oxide": median(one["oxides"][-1] for one in levels),
            "metal": median(one["metal"] for one in levels),
            "edge_sigma_px": median(one["edge_sigma_px"] for one in levels),
        }
        proposed = {key: round(value, 4) for key, value in greys.items()}
    fields = tuple(
        SessionField(
            one,
            found["pore"],
            tuple(found["oxides"]),
            found["metal"],
            found["edge_sigma_px"],
            found["source"],
            max(abs(found["metal"] - proposed["metal"]), abs(found["oxides"][-1] - proposed["oxide"]))
            / max(proposed["metal"] - proposed["pore"], 0.01),
        )
        for one in shown
        if one.pk in own
        for found in (own[one.pk].levels,)
    )
    return SessionPage(
        session,
        fields,
        tuple(session.levels.select_related("by").order_by("-pk")),
        proposed,
        tuple(field for field in fields if field.drift > DRIFT),
        may(user, "micrographs.add"),
    )
