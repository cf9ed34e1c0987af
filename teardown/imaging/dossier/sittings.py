"""What the page of a microscope session shows."""

from dataclasses import dataclass
from statistics import median
from typing import Any

from teardown.accounts.roles import may
from teardown.imaging.dossier.numbers import count_levels
from teardown.imaging.models import ImagingSession, Levels, Micrograph, ReferenceField, SectionResult
from teardown.imaging.runs import standing
from teardown.page.figures import Axis, Band, Curve, Figure, Rule

DRIFT = 0.03


@dataclass(frozen=True, slots=True)
class SessionField:
    """The levels that one field of a session shows, and how far they lie from the reference."""

    micrograph: Micrograph
    number: int
    pore: float
    oxides: tuple[float, ...]
    metal: float
    sigma: float
    source: str
    drift: float
    oxide_apart: float
    reference: bool


@dataclass(frozen=True, slots=True)
class SessionPage:
    """One sitting: its fields' levels, how far they drift, what is pinned, what is proposed."""

    session: ImagingSession
    fields: tuple[SessionField, ...]
    pinned: tuple[Levels, ...]
    proposed: dict[str, float]
    drifting: tuple[SessionField, ...]
    reference: Micrograph | None
    drift: Figure | None
    shown: Micrograph | None
    tiles: int
    may_pin: bool

    @property
    def oxide_spread(self) -> float:
        """Give how far the fields' oxides lie apart, as a share of the contrast."""
        apart = [one.oxide_apart for one in self.fields]
        return max(apart) - min(apart) if apart else 0.0

    @property
    def measured(self) -> bool:
        """Tell whether greys can be read off the shown field: it must be measured once."""
        return any(self.shown is not None and one.micrograph.pk == self.shown.pk for one in self.fields)


def session_of(session: ImagingSession, user: Any) -> SessionPage:
    """Gather a session's page; the proposed levels are the medians over fields that found their own.

    Drift is told from the reference field where one is named, else from the medians.
    """
    shown = list(
        session.micrographs.visible_to(user)
        .filter(kind=Micrograph.Kind.SECTION)
        .select_related("receipt")
        .order_by("pk")
    )
    own = _own_levels(shown)
    proposed = _medians([result.levels for result in own.values()])
    here = session.reference_fields.filter(micrograph__session=session)  # not one that was moved elsewhere
    named = here.select_related("micrograph__receipt").order_by("-pk").first()
    reference = named.micrograph if named else None
    against = own[reference.pk].levels if reference and reference.pk in own else None
    middle = _as_levels(against) if against else proposed
    fields = tuple(
        SessionField(
            one,
            number,
            found["pore"],
            tuple(found["oxides"]),
            found["metal"],
            found["edge_sigma_px"],
            found["source"],
            _drift(found, middle),
            (found["oxides"][-1] - middle["oxide"]) / _contrast(middle),
            reference is not None and one.pk == reference.pk,
        )
        for number, one in enumerate(shown, start=1)
        if one.pk in own
        for found in (own[one.pk].levels,)
    )
    viewed = _viewed(reference, fields, shown)
    return SessionPage(
        session=session,
        fields=fields,
        pinned=tuple(session.levels.select_related("by").order_by("-pk")),
        proposed=_as_levels(against) if against else proposed,
        drifting=tuple(field for field in fields if field.drift > DRIFT),
        reference=reference,
        drift=drift_figure(fields, middle),
        shown=viewed,
        tiles=count_levels(viewed.width_px, viewed.height_px) if viewed else 1,
        may_pin=may(user, "micrographs.add"),
    )


def drifted_by(micrograph: Micrograph) -> float | None:
    """Give how far a field's own resin or metal lies from the levels of its session, beyond 3 %; else None.

    Held against the pinned levels, else against the named reference field, as a share of the contrast. At
    most four queries.
    """
    if micrograph.session_id is None:
        return None
    own = _own_levels([micrograph]).get(micrograph.pk)
    if own is None:
        return None
    pinned = Levels.objects.filter(session=micrograph.session_id).order_by("-pk").first()
    if pinned is not None:
        middle = {"pore": pinned.pore, "metal": pinned.metal}
    else:
        here = {"session": micrograph.session_id, "micrograph__session": micrograph.session_id}
        named = ReferenceField.objects.filter(**here).order_by("-pk").first()
        number = named.micrograph_id if named else None
        if number is None or number == micrograph.pk:
            return None
        found = SectionResult.objects.filter(micrograph=number).defer("sums").order_by("pk")
        levels = [one.levels for one in found if one.levels["source"] == "automatic"]
        if not levels:
            return None
        middle = _as_levels(levels[-1])
    off = _drift(own.levels, middle)
    return off if off > DRIFT else None


def _viewed(
    reference: Micrograph | None, fields: tuple[SessionField, ...], shown: list[Micrograph]
) -> Micrograph | None:
    """Choose the field on which greys are clicked: the reference, else the first that is measured."""
    if reference is not None:
        return reference
    measured = standing(shown)
    return next((one for one in shown if one.pk in measured), None) or (
        fields[0].micrograph if fields else None
    )


def _own_levels(shown: list[Micrograph]) -> dict[int, SectionResult]:
    own: dict[int, SectionResult] = {}
    for result in SectionResult.objects.filter(micrograph__in=shown).defer("sums").order_by("pk"):
        if result.levels["source"] == "automatic":
            own[result.micrograph_id] = result
    return own


def _as_levels(found: dict[str, Any]) -> dict[str, float]:
    greys = {
        "pore": found["pore"],
        "oxide": found["oxides"][-1],
        "metal": found["metal"],
        "edge_sigma_px": found["edge_sigma_px"],
    }
    return {key: round(value, 4) for key, value in greys.items()}


def _medians(levels: list[dict[str, Any]]) -> dict[str, float]:
    if not levels:
        return {}
    each = [_as_levels(one) for one in levels]
    return {key: round(median(one[key] for one in each), 4) for key in each[0]}


def _drift(found: dict[str, Any], middle: dict[str, float]) -> float:
    """Give how far resin or metal lies from the middle, as a share of the contrast.

    Oxide is left out: its grey is the sample's, the other two are the microscope's.
    """
    return float(max(abs(found[name] - middle[name]) for name in ("pore", "metal")) / _contrast(middle))


def _contrast(middle: dict[str, float]) -> float:
    return max(middle["metal"] - middle["pore"], 0.01)


def drift_figure(fields: tuple[SessionField, ...], middle: dict[str, float]) -> Figure | None:
    """Draw the levels of resin, oxide and metal over the fields of a session, with the 3 % either way."""
    if len(fields) < 2:
        return None
    places = [field.number for field in fields]
    reach = DRIFT * (middle["metal"] - middle["pore"])
    return Figure(
        title="Levels from field to field",
        description=f"Greys of resin, oxide and metal in {len(fields)} fields, in the order they came.",
        x=Axis("field, in the order they came", whole=True),
        y=Axis("grey, 0 black to 1 white", low=0),
        curves=(
            Curve("metal", places, [field.metal for field in fields], style="metal"),
            Curve("oxide", places, [field.oxides[-1] for field in fields], style="oxide"),
            Curve("resin", places, [field.pore for field in fields], style="pore"),
        ),
        rules=tuple(Rule(middle[name] + sign * reach, "") for name in ("metal", "pore") for sign in (-1, 1)),
        bands=tuple(Band(field.number - 0.3, field.number + 0.3) for field in fields if field.drift > DRIFT),
    )
