"""What the pages of micrographs show."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from teardown.accounts.roles import may
from teardown.dissection.models import Sample
from teardown.files.models import Run
from teardown.imaging.models import (
    FieldMeasure,
    Micrograph,
    Region,
    Review,
    SampleMeasure,
    ScaleClaim,
    SectionResult,
)
from teardown.imaging.runs import regions_of, scale_of, standing, tie_of, verdicts_on
from teardown.page.figures import Axis, Curve, Figure, Rule
from teardown.science.estimate import Estimate

# flags that say how much was seen, not how good the picture is: they stand apart
SAMPLING = frozenset({"field_too_small", "few_fields", "fields_disagree"})
WORDS = {
    "porosity": "porosity",
    "oxide_fraction": "oxide fraction",
    "oxide_share_of_solid": "oxide share of the solid",
    "oxide_coverage": "oxide coverage",
    "wetted_oxide_share": "oxide share of the pore wall",
    "bright_fraction": "brighter than metal",
    "specific_surface": "metal surface per volume",
    "oxide_thickness": "mean oxide thickness",
    "pore_size": "mean pore chord",
    "metal_size": "mean metal chord",
}
HEADLINE = ("porosity", "oxide_coverage", "oxide_fraction", "oxide_thickness")
TILE = 512


@dataclass(frozen=True, slots=True)
class Shown:
    """One number of a field or a sample."""

    words: str
    estimate: Estimate
    percent: bool
    method: str
    limit: str = ""
    parts: str = ""


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
    regions: tuple[Region, ...]
    result: SectionResult | None
    status: str
    measures: tuple[Shown, ...]
    others: tuple[Shown, ...]
    flags: tuple[dict[str, Any], ...]
    sampling: tuple[dict[str, Any], ...]
    levels: Figure | None
    pending: Run | None
    past: tuple[PastRun, ...]
    pooled: tuple[Shown, ...]
    fields_needed: int | None
    scale_levels: int
    may_add: bool
    may_review: bool
    may_measure: bool

    @property
    def drawn(self) -> list[dict[str, Any]]:
        """Give the outlines that count, for the viewer."""
        return [{"kind": region.kind, "points": region.points} for region in self.regions]

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
    results = list(micrograph.results.select_related("run").order_by("-pk"))
    rows = FieldMeasure.objects.filter(run__in=[one.run_id for one in results])
    by_run: dict[int, list[FieldMeasure]] = {}
    for row in rows:
        by_run.setdefault(row.run_id, []).append(row)
    shown = _shown(by_run.get(result.run_id, []), result) if result else []
    flags = list(result.flags) if result else []
    pending = (
        Run.objects.filter(subject=f"imaging.micrograph:{micrograph.pk}")
        .exclude(state=Run.State.DONE)
        .order_by("-pk")
        .first()
    )
    pooled, needed = _pooled(sample)
    past = _past(results, by_run, result)
    return MicrographPage(
        micrograph=micrograph,
        sample=sample,
        cell=_cell_of(sample),
        scale=scale_of(micrograph),
        claims=tuple(micrograph.scale_claims.select_related("by")),
        regions=tuple(regions_of(micrograph)),
        result=result,
        status=next((one.status for one in past if one.stands), ""),
        measures=tuple(one for key, one in shown if key in HEADLINE),
        others=tuple(one for key, one in shown if key not in HEADLINE),
        flags=tuple(flag for flag in flags if flag["code"] not in SAMPLING),
        sampling=tuple(flag for flag in flags if flag["code"] in SAMPLING),
        levels=_levels_figure(result) if result else None,
        pending=pending,
        past=past,
        pooled=pooled,
        fields_needed=needed,
        scale_levels=count_levels(micrograph.width_px, micrograph.height_px),
        may_add=may(user, "micrographs.add"),
        may_review=may(user, "measures.review"),
        may_measure=may(user, "measures.run"),
    )


def count_levels(width: int, height: int) -> int:
    """Count the halvings of a picture until one tile holds it."""
    levels = 1
    while max(width, height) > TILE:
        width, height, levels = max(width // 2, 1), max(height // 2, 1), levels + 1
    return levels


def _shown(
    rows: Sequence[FieldMeasure | SampleMeasure], result: SectionResult | None = None
) -> list[tuple[str, Shown]]:
    found = []
    for row in rows:
        key = _key(row.quantity)
        limit = _limit(result) if result and key == "oxide_coverage" else ""
        unit = row.unit.replace("um", "µm")
        estimate = Estimate(row.value, row.low, row.high, unit, row.n, row.method)
        found.append(
            (key, Shown(WORDS.get(key, key), estimate, row.unit == "1", row.method, limit, _parts(row)))
        )
    order = list(WORDS)
    return sorted(found, key=lambda one: order.index(one[0]) if one[0] in order else len(order))


def _key(quantity: str) -> str:
    for suffix in ("_per_um", "_per_px", "_um", "_px"):
        quantity = quantity.removesuffix(suffix)
    return quantity


def _limit(result: SectionResult) -> str:
    pixels = result.levels["detection_limit_px"]
    size = result.sums["pixel_size_um"]
    words = f"{pixels * size:.2g} µm" if size else f"{pixels:.1f} px"
    return f"oxide thinner than {words} is not seen"


def _parts(row: FieldMeasure | SampleMeasure) -> str:
    """Say how much of the interval is sampling and how much the levels."""
    details = row.details
    scale, unit = (100, " points") if row.unit == "1" else (1, f" {row.unit.replace('um', 'µm')}")
    if "half_width_sampling" in details:
        return (
            f"± {details['half_width_sampling'] * scale:.2g}{unit} from fields, "
            f"± {details['half_width_levels'] * scale:.2g}{unit} from levels"
        )
    if details.get("u_sampling") is not None and details.get("u_threshold") is not None:
        return (
            f"± {1.96 * details['u_sampling'] * scale:.2g}{unit} from the field, "
            f"± {1.96 * details['u_threshold'] * scale:.2g}{unit} from levels"
        )
    return ""


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
        shown = dict(_shown(by_run.get(one.run_id, [])))
        review = words.get(one.run_id)
        status = review.get_verdict_display() if review else "proposed"
        if review is None and stands is not None and one.run_id < stands.run_id:
            status = "superseded"
        found.append(
            PastRun(
                one.run,
                status,
                str(review.by) if review else "",
                review.reason if review else "",
                shown.get("porosity"),
                shown.get("oxide_coverage"),
                one.levels["version"],
                one.levels["source"],
                stands is not None and one.pk == stands.pk,
            )
        )
    return tuple(found)


def _pooled(sample: Sample | None) -> tuple[tuple[Shown, ...], int | None]:
    """Give the latest pool of a sample's fields, and how many more fields its goal asks for."""
    if sample is None:
        return (), None
    latest = (
        SampleMeasure.objects.filter(sample=sample).order_by("-run").values_list("run", flat=True).first()
    )
    rows = list(SampleMeasure.objects.filter(sample=sample, run=latest)) if latest else []
    needed = rows[0].details.get("fields_needed") if rows else None
    return tuple(one for key, one in _shown(rows) if key in HEADLINE), needed


def _cell_of(sample: Sample | None) -> str:
    origin = sample.origin if sample else None
    return origin.dissection.cell.code if origin else ""


def _levels_figure(result: SectionResult) -> Figure | None:
    """Draw the histogram of greys with the levels, where the run kept one."""
    histogram = result.sums.get("histogram")
    if not histogram:
        return None
    levels = result.levels
    step = 1 / len(histogram)
    places = [(number + 0.5) * step for number in range(len(histogram))]
    rules = [Rule(levels["pore"], "pore", "x"), Rule(levels["metal"], "metal", "x")]
    rules += [Rule(grey, "oxide", "x") for grey in levels["oxides"]]
    return Figure(
        title="Greys and levels",
        description="How often each grey occurs, with the levels of pore, oxide and metal.",
        x=Axis("grey, 0 black to 1 white", low=0, high=1),
        y=Axis("share of pixels", percent=True, low=0),
        curves=(Curve("", places, histogram, kind="steps"),),
        rules=tuple(rules),
    )


@dataclass(frozen=True, slots=True)
class ListedMicrograph:
    """One row of the list."""

    micrograph: Micrograph
    sample: str
    porosity: Shown | None
    coverage: Shown | None
    flags: tuple[str, ...]
    status: str


def rows_of(micrographs: Sequence[Micrograph], pending: dict[int, Run]) -> list[ListedMicrograph]:
    """Give the rows of the list. Five queries, however many rows."""
    results = standing(micrographs)
    measures: dict[int, dict[str, Shown]] = {}
    for row in FieldMeasure.objects.filter(
        run__in=[one.run_id for one in results.values()], quantity__in=["porosity", "oxide_coverage"]
    ):
        measures.setdefault(row.micrograph_id, {}).update(dict(_shown([row])))
    verdicts = verdicts_on([one.run_id for one in results.values()])
    rows = []
    for one in micrographs:
        result = results.get(one.pk)
        run = pending.get(one.pk)
        found = measures.get(one.pk, {})
        ties = list(one.ties.all())
        sample = ties[-1].sample if ties else None
        codes = tuple(
            flag["message"]
            for flag in (result.flags if result else ())
            if flag["level"] != "info" and flag["code"] not in SAMPLING
        )
        status = _status(result, run, verdicts)
        rows.append(
            ListedMicrograph(
                one,
                sample.code if sample else "",
                found.get("porosity"),
                found.get("oxide_coverage"),
                codes,
                status,
            )
        )
    return rows


def _status(result: SectionResult | None, run: Run | None, verdicts: dict[int, str]) -> str:
    if result is not None:
        return {"accept": "accepted", "reject": "rejected"}.get(verdicts.get(result.run_id, ""), "proposed")
    if run is None:
        return "not measured"
    return {"failed": "refused", "queued": "waiting", "running": "being measured"}[run.state]
