"""What the page of one micrograph shows."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from teardown.accounts.roles import may
from teardown.dissection.models import Sample
from teardown.files.models import Run
from teardown.imaging.dossier.comparing import measures_of
from teardown.imaging.dossier.counts import SampleCount, ShownCount, counts_of, sample_counts_of
from teardown.imaging.dossier.drawings import (
    PaperBar,
    chords_figure,
    correlation_figure,
    levels_figure,
    openings_figure,
    profile_figure,
    rims_figure,
)
from teardown.imaging.dossier.layers import LayerTable, tables_of
from teardown.imaging.dossier.numbers import (
    HEADLINE,
    SAMPLING,
    Shown,
    count_levels,
    shown_of,
)
from teardown.imaging.dossier.open_points import (
    EARLIER,
    Neighbours,
    OpenPoints,
    Pages,
    ShownRegion,
    being_drawn,
    neighbours_of,
    open_points_of,
)
from teardown.imaging.dossier.pools import Pool, pools_of
from teardown.imaging.dossier.sittings import drifted_by
from teardown.imaging.models import (
    FieldMeasure,
    ImagingSession,
    Micrograph,
    Region,
    Review,
    ScaleClaim,
    SectionResult,
    SessionMove,
)
from teardown.imaging.rules import BY_A_PERSON, LINE_SETS, SOURCES
from teardown.imaging.runs import standing, tie_of, verdicts_on
from teardown.page.figures import Figure

OFFERED = 60  # names of sessions, the latest first


@dataclass(frozen=True, slots=True)
class PastRun:
    """One result in the history of a micrograph."""

    run: Run
    status: str
    by: str
    reason: str
    porosity: Shown | None
    coverage: Shown | None
    version: str
    levels: str
    stands: bool


@dataclass(frozen=True, slots=True)
class MicrographPage:
    """One micrograph: where it is from, how large, what was measured, what to know of it, and its past."""

    micrograph: Micrograph
    sample: Sample | None
    cell: str
    scale: ScaleClaim | None
    claims: tuple[ScaleClaim, ...]
    moves: tuple[SessionMove, ...]
    session_names: tuple[str, ...]
    regions: tuple[ShownRegion, ...]
    earlier_regions: tuple[ShownRegion, ...]
    open_points: OpenPoints
    result: SectionResult | None
    status: str
    by_hand: str
    measures: tuple[Shown, ...]
    others: tuple[Shown, ...]
    flags: tuple[dict[str, Any], ...]
    sampling: tuple[dict[str, Any], ...]
    pending: Run | None
    past: tuple[PastRun, ...]
    counts: tuple[ShownCount, ...]
    sample_counts: tuple[SampleCount, ...]
    figures: tuple[tuple[Figure, str], ...]
    layers: tuple[LayerTable, ...]
    patches: str
    near: tuple[tuple[str, float], ...]
    pooled: Pool | None
    electrode: Pool | None
    scale_levels: int
    being_drawn: bool
    neighbours: Neighbours
    drifted: float | None
    may_add: bool
    may_review: bool
    may_measure: bool

    @property
    def newer(self) -> tuple[PastRun, ...]:
        """Give the results that came after the standing one and that nobody has judged."""
        if self.result is None:
            return ()
        waiting = ("proposed", "held for comparison")
        return tuple(one for one in self.past if one.run.pk > self.result.run_id and one.status in waiting)

    @property
    def bright(self) -> bool:
        """Tell whether matter brighter than metal was found, so that the key names it."""
        return self.result is not None and self.result.levels.get("bright") is not None

    @property
    def paper_bar(self) -> "PaperBar":
        """Give the scale bar below the printed picture, which has another size than on the screen."""
        return PaperBar.of(self.micrograph.width_px, self.scale.pixel_width_um if self.scale else None)

    @property
    def line_sets(self) -> tuple[tuple[str, str], ...]:
        """Give the sets of test lines that may be chosen for a count of crossings."""
        return tuple(LINE_SETS.items())

    @property
    def left_out(self) -> bool:
        """Tell whether part of the picture does not count, so that the key names it."""
        if self.result is None:
            return False
        whole = self.micrograph.width_px * self.micrograph.height_px
        return bool(self.result.sums.get("area_px", whole) < whole)

    @property
    def rivals(self) -> tuple[ScaleClaim, ...]:
        """Give the hints of a pixel's size that disagree, where nobody has said which holds."""
        return self.open_points.rivals

    @property
    def has_strip(self) -> bool:
        """Tell whether an information strip is known, whose scale bar can be looked for."""
        drawn = [one for one in self.regions if one.kind == Region.Kind.STRIP]
        if drawn:
            return drawn[-1].points[0][1] != drawn[-1].points[-1][1]
        if self.result is not None:
            return bool(self.result.sums.get("strip"))
        return bool(self.micrograph.metadata.get("strip_rows"))

    @property
    def strip_asked(self) -> tuple[int, int] | None:
        """Give the rows that were taken for an information strip and that nobody has confirmed."""
        return self.open_points.strip

    @property
    def further_pages(self) -> Pages | None:
        """Give the pages of the file, where it has several."""
        return self.open_points.pages

    @property
    def outdated(self) -> str:
        """Say what changed since the standing result was asked for."""
        return "" if self.pending or self.newer else self.open_points.outdated

    @property
    def drawn(self) -> list[dict[str, Any]]:
        """Give the outlines that count, for the viewer."""
        return [{"kind": one.kind, "name": one.name, "points": one.points} for one in self.regions]

    @property
    def sentence(self) -> str:
        """Say in one sentence what this is."""
        of = f"of sample {self.sample.code}" if self.sample else "not tied to a sample yet"
        if self.cell:
            of += f", cell {self.cell}"
        shown = self.micrograph
        size = f"{shown.width_px} by {shown.height_px} pixels at {shown.bit_depth} bit"
        return f"A {shown.get_kind_display()} {of}; {size}."


def page_of(micrograph: Micrograph, user: Any) -> MicrographPage:
    """Gather everything that the page of one micrograph shows."""
    tied = tie_of(micrograph)
    sample = tied.sample if tied else None
    result = standing([micrograph]).get(micrograph.pk)
    results = list(micrograph.results.select_related("run__asked_by").defer("sums").order_by("-pk"))
    by_run = {run: list(rows.values()) for run, rows in measures_of(results).items()}
    shown = shown_of(by_run.get(result.run_id, []), result) if result else []
    flags = list(result.flags) if result else []
    pending = _pending(micrograph)
    pooled, electrode = pools_of(sample)
    past = _past(results, by_run, result)
    claims = tuple(micrograph.scale_claims.select_related("by"))
    regions, earlier = _regions(micrograph)
    return MicrographPage(
        micrograph=micrograph,
        sample=sample,
        cell=_cell_of(sample),
        scale=next((one for one in reversed(claims) if one.chosen), None),
        claims=claims,
        session_names=tuple(ImagingSession.objects.values_list("name", flat=True)[:OFFERED]),
        moves=tuple(micrograph.session_moves.select_related("before", "after", "by")),
        regions=regions,
        earlier_regions=earlier,
        open_points=open_points_of(micrograph, result, claims),
        result=result,
        status=next((one.status for one in past if one.stands), ""),
        by_hand=by_hand(result) if result else "",
        measures=tuple(one for key, one in shown if key in HEADLINE),
        others=tuple(one for key, one in shown if key not in HEADLINE),
        flags=tuple(flag for flag in flags if flag["code"] not in SAMPLING),
        sampling=tuple(flag for flag in flags if flag["code"] in SAMPLING),
        pending=pending,
        past=past,
        counts=counts_of(micrograph),
        sample_counts=sample_counts_of(sample),
        figures=_figures(result) if result else (),
        layers=tables_of(result) if result else (),
        patches=_patches(result) if result else "",
        near=_near(result) if result else (),
        pooled=pooled,
        electrode=electrode,
        scale_levels=count_levels(micrograph.width_px, micrograph.height_px),
        being_drawn=being_drawn(micrograph),
        neighbours=neighbours_of(micrograph, user),
        drifted=drifted_by(micrograph),
        may_add=may(user, "micrographs.add"),
        may_review=may(user, "measures.review"),
        may_measure=may(user, "measures.run"),
    )


def _near(result: SectionResult) -> tuple[tuple[str, float], ...]:
    """Give the coverage by the gap allowed, the narrowest first; databases may keep names otherwise."""
    return tuple(sorted((result.sums.get("near_coverage") or {}).items(), key=lambda one: float(one[0])))


def _regions(micrograph: Micrograph) -> tuple[tuple[ShownRegion, ...], tuple[ShownRegion, ...]]:
    """Give what was drawn and counts, and the versions before it that can be brought back."""
    drawn = list(micrograph.regions.select_related("by").order_by("version", "pk"))
    latest = {(region.kind, region.name): region for region in drawn}
    counts = [region for region in latest.values() if region.points]
    numbers = {region.pk for region in counts}
    earlier = [region for region in reversed(drawn) if region.points and region.pk not in numbers]
    return (
        tuple(ShownRegion.of(region) for region in counts),
        tuple(ShownRegion.of(region) for region in earlier[:EARLIER]),
    )


def _figures(result: SectionResult) -> tuple[tuple[Figure, str], ...]:
    """Give the figures that the result has data for, each with its caption."""
    drawn = (
        (
            profile_figure(result),
            "In ten layers of equal depth below the drawn face; coverage is of the metal outline there.",
        ),
        *(
            (profile_figure(result, number), "The same below the other face that was drawn.")
            for number in range(len(result.sums.get("profiles") or []))
        ),
        (rims_figure(result), "Apparent: sections cut rims askew. Only the mean has a correction."),
        (
            levels_figure(result),
            "Greys after the uneven field was divided out and noise calmed, with the class levels.",
        ),
        (
            correlation_figure(result),
            "From the middle of the field. It begins at the class’s share and ends at its square; where it "
            "levels off, the places no longer know of each other.",
        ),
        (
            chords_figure(result),
            "Along rows and columns; chords that the picture’s rim cuts are left out. The last step holds "
            "all longer ones.",
        ),
        (
            openings_figure(result),
            "By openings with discs: what a disc of this diameter no longer fits into.",
        ),
    )
    return tuple((figure, caption) for figure, caption in drawn if figure is not None)


def _patches(result: SectionResult) -> str:
    """Say how many independent patches the field holds: its area over the integral range of porosity."""
    reach = result.sums.get("integral_range_px") or 0.0
    area = result.sums.get("area_px") or 0
    if reach <= 0 or not area:
        return ""
    size = result.sums.get("pixel_size_um")
    words = f"{reach * size**2:.2g} µm²" if size else f"{reach:.0f} px"
    return f"The integral range of porosity is {words}; the field holds {area / reach:.0f} such patches."


def _pending(micrograph: Micrograph) -> Run | None:
    """Give the run that is waited for, or the latest one if it failed."""
    runs = list(Run.objects.filter(subject=f"imaging.micrograph:{micrograph.pk}").order_by("-pk")[:20])
    unfinished = (Run.State.QUEUED, Run.State.RUNNING)
    waited = next((run for run in runs if run.state in unfinished), None)
    return waited or next((run for run in runs[:1] if run.state == Run.State.FAILED), None)


def _past(
    results: Sequence[SectionResult], by_run: dict[int, list[FieldMeasure]], stands: SectionResult | None
) -> tuple[PastRun, ...]:
    verdicts = verdicts_on([one.run_id for one in results])
    words = {
        review.run_id: review
        for review in Review.objects.filter(run__in=verdicts).select_related("by").order_by("pk")
    }
    found = []
    for one in results:
        shown = dict(shown_of(by_run.get(one.run_id, [])))
        review = words.get(one.run_id)
        status = review.get_verdict_display() if review else "proposed"
        if review is None and one.held:
            status = "held for comparison"
        elif _overtaken(one, review, stands):
            status = "superseded"
        by, reason = (str(review.by), review.reason) if review else ("", "")
        if status == "superseded" and review:
            by, reason = "", f"{review.get_verdict_display()} by {review.by} before"
        found.append(
            PastRun(
                one.run,
                status,
                by,
                reason,
                shown.get("porosity"),
                shown.get("oxide_coverage"),
                one.levels["version"],
                by_hand(one) or SOURCES.get(one.levels["source"], one.levels["source"]),
                stands is not None and one.pk == stands.pk,
            )
        )
    return tuple(found)


def _overtaken(result: SectionResult, review: Review | None, stands: SectionResult | None) -> bool:
    """Tell whether a later result stands in place of one that nobody rejected."""
    rejected = review is not None and review.verdict == Review.Verdict.REJECT
    return not rejected and stands is not None and result.run_id < stands.run_id


def by_hand(result: SectionResult) -> str:
    """Say that a person set the levels or trained the classes, and why; nothing where the method did."""
    source = result.levels.get("source", "")
    if source not in BY_A_PERSON:
        return ""
    run = result.run
    who = f" by {run.asked_by}" if run.asked_by else ""
    why = f": {run.settings['reason']}" if run.settings.get("reason") else ""
    return f"{SOURCES[source]}{who}{why}"


def _cell_of(sample: Sample | None) -> str:
    origin = sample.origin if sample else None
    return origin.dissection.cell.code if origin else ""
