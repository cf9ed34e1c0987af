"""What a person must still say of a micrograph: its scale, its strip, its pages, whether to measure anew."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Case, Exists, OuterRef, When

from teardown.imaging.models import Micrograph, Region, Review, ScaleClaim, SectionResult
from teardown.imaging.runs import is_being_measured, pages_of, regions_of, section_settings, tie_of
from teardown.imaging.store import takes_long

AGREE = 0.02
EARLIER = 12
CHANGED = {
    "regions": "what was drawn changed",
    "levels": "the session’s levels changed",
    "edge_sigma_px": "the session’s levels changed",
}


@dataclass(frozen=True, slots=True)
class ShownRegion:
    """One version of what was drawn, in words and as it can be brought back."""

    kind: str
    name: str
    version: int
    points: list[list[float]]
    by: str
    at: Any

    @classmethod
    def of(cls, region: Region) -> "ShownRegion":
        """Read a kept region."""
        by = str(region.by) if region.by else ""
        return cls(region.kind, region.name, region.version, region.points, by, region.at)

    @property
    def words(self) -> str:
        """Say what it is: its kind, its name, how many corners."""
        kind = Region.Kind(self.kind).label
        if self.kind == Region.Kind.STRIP:
            rows = [round(y) for _, y in self.points]
            return f"{kind}, rows {min(rows)} to {max(rows) - 1}" if max(rows) > min(rows) else f"no {kind}"
        named = f"{kind} {self.name}".strip()
        return f"{named}, {len(self.points)} corners"

    @property
    def as_points(self) -> str:
        """Give the corners as a form sends them."""
        return json.dumps(self.points)


def being_drawn(micrograph: Micrograph) -> bool:
    """Tell whether a mosaic waits for a worker to draw it for the screen."""
    return takes_long(micrograph) and is_being_measured(micrograph)


@dataclass(frozen=True, slots=True)
class Pages:
    """The pages of a file with several: how many it tells of, and which others are here."""

    told: int
    here: tuple[Micrograph, ...]

    @property
    def missing(self) -> bool:
        """Tell whether pages of the file are not here yet."""
        return len(self.here) + 1 < self.told


@dataclass(frozen=True, slots=True)
class Neighbours:
    """The fields beside one, of its session or else its sample, and the next that waits for a word."""

    before: Micrograph | None
    after: Micrograph | None
    waiting: Micrograph | None


def neighbours_of(micrograph: Micrograph, user: Any) -> Neighbours:
    """Find the neighbours of a field. Three queries."""
    tied = tie_of(micrograph)
    scope = Micrograph.objects.visible_to(user).filter(kind=Micrograph.Kind.SECTION)
    scope = scope.select_related("receipt")
    if micrograph.session_id:
        scope = scope.filter(session=micrograph.session_id)
    elif tied is not None and tied.sample_id:
        scope = scope.filter(ties__sample=tied.sample_id)
    else:
        return Neighbours(None, None, None)
    judged = Review.objects.filter(micrograph=OuterRef("pk"))
    waiting = scope.filter(~Exists(judged), results__isnull=False).exclude(pk=micrograph.pk)
    return Neighbours(
        scope.filter(pk__lt=micrograph.pk).order_by("-pk").first(),
        scope.filter(pk__gt=micrograph.pk).order_by("pk").first(),
        waiting.order_by(Case(When(pk__gt=micrograph.pk, then=0), default=1), "pk").first(),
    )


@dataclass(frozen=True, slots=True)
class OpenPoints:
    """All of it, for one page."""

    rivals: tuple[ScaleClaim, ...]
    strip: tuple[int, int] | None
    pages: Pages | None
    outdated: str


def open_points_of(
    micrograph: Micrograph, result: SectionResult | None, claims: Sequence[ScaleClaim]
) -> OpenPoints:
    """Gather what is open on a micrograph. At most four queries."""
    told = int(micrograph.metadata.get("pages", 1))
    others = tuple(one for one in pages_of(micrograph) if one.pk != micrograph.pk) if told > 1 else ()
    return OpenPoints(
        rivals=_rivals(claims),
        strip=_strip(result),
        pages=Pages(told, others) if told > 1 else None,
        outdated=_outdated(micrograph, result),
    )


def _rivals(claims: Sequence[ScaleClaim]) -> tuple[ScaleClaim, ...]:
    """Give the hints that disagree by more than 2 %; none once a person has said which holds."""
    if any(one.by_id for one in claims):
        return ()
    trusted = [one for one in claims if one.evidence.get("trusted", True)]
    apart: list[ScaleClaim] = []
    for one in trusted:
        if all(abs(one.pixel_width_um / other.pixel_width_um - 1) > AGREE for other in apart):
            apart.append(one)
    return tuple(apart) if len(apart) > 1 else ()


def _strip(result: SectionResult | None) -> tuple[int, int] | None:
    if result is None or not any(flag["code"] == "strip_unconfirmed" for flag in result.flags):
        return None
    top, bottom = result.sums["strip"]
    return int(top), int(bottom)


def _outdated(micrograph: Micrograph, result: SectionResult | None) -> str:
    """Say what changed since the standing result was asked for; nothing where a person set its levels."""
    if result is None:
        return ""
    was, steps = result.run, 0
    while was.function == "imaging.rescale" and steps < 20:
        source = was.inputs.select_related("source_run").first()
        if source is None or source.source_run is None:
            return ""
        was, steps = source.source_run, steps + 1
    if was.function != "imaging.section" or result.levels["source"] in ("manual", "trained"):
        names = ["regions"] if was.function == "imaging.section" else []
    else:
        names = list(CHANGED)
    now = section_settings(micrograph) if names else {}
    return next((CHANGED[name] for name in names if was.settings.get(name) != now.get(name)), "")


def strip_rows(micrograph: Micrograph, result: SectionResult | None) -> tuple[int, int] | None:
    """Give the rows of the information strip: as a person said, else as was measured, else as the file says.

    None where there is none, or nobody has found one.
    """
    drawn = [region for region in regions_of(micrograph) if region.kind == Region.Kind.STRIP]
    if drawn:
        rows = [y for _, y in drawn[-1].points]
    elif result is not None:
        rows = result.sums.get("strip") or [0, 0]
    else:
        told = int(micrograph.metadata.get("strip_rows") or 0)
        rows = [micrograph.height_px - told, micrograph.height_px]
    top, bottom = max(round(min(rows)), 0), min(round(max(rows)), micrograph.height_px)
    return (top, bottom) if bottom - top >= 2 else None
