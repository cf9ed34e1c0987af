"""What was measured on sections and patterns, cell by cell, with its standing."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Q

from teardown.diffraction.models import Fit
from teardown.diffraction.models import Review as FitReview
from teardown.dissection.models import Sample
from teardown.imaging.dossier import HEADLINE, WORDS
from teardown.imaging.models import FieldMeasure, Review, SampleMeasure
from teardown.imaging.runs import verdicts_on
from teardown.page.navigation import address
from teardown.review.models import of_cell
from teardown.science.estimate import Estimate


@dataclass(frozen=True, slots=True)
class ShownMeasure:
    """A measured number as a page shows it: how sure, accepted or only proposed, made from what."""

    quantity: str
    words: str
    estimate: Estimate
    status: str
    of: str
    href: str
    percent: bool
    rank: int

    @property
    def headline(self) -> bool:
        """Tell whether it stands large on the page."""
        return self.quantity in HEADLINE

    @property
    def limit(self) -> str:
        """Say what the number is of, under it."""
        return self.of


def cell_of(sample: Sample | None) -> int | None:
    """Tell from which cell a sample was cut, through the pieces between."""
    while sample is not None:
        if sample.part_id:
            return sample.part.dissection.cell_id  # type: ignore[union-attr]
        sample = sample.parent
    return None


_LINE = (
    "sample__part__dissection",
    "sample__parent__part__dissection",
    "sample__parent__parent__part__dissection",
)


def measures_of(cells: Iterable[int]) -> dict[int, dict[str, ShownMeasure]]:
    """Give the standing measures of each cell by quantity.

    An electrode counts before a sample, a sample before a single field; among equals the latest that nobody
    rejected. Three queries, however many cells.
    """
    wanted = list(cells)
    found: dict[int, list[ShownMeasure]] = defaultdict(list)
    pooled = SampleMeasure.objects.filter(_within(wanted)).select_related("part__dissection", *_LINE)
    fields = FieldMeasure.objects.filter(_within_ties(wanted)).prefetch_related(
        "micrograph__ties__sample__part__dissection", "micrograph__ties__sample__parent__part__dissection"
    )
    rows: list[SampleMeasure | FieldMeasure] = [*fields.order_by("pk"), *pooled.order_by("pk")]
    verdicts = verdicts_on({run for row in rows for run in _made_from(row)})
    for row in rows:
        status = _status([verdicts.get(run, "") for run in _made_from(row)])
        if status != "rejected":
            for cell, shown in _shown(row, status):
                found[cell].append(shown)
    return {cell: _best(shown) for cell, shown in found.items()}


def _made_from(row: SampleMeasure | FieldMeasure) -> list[int]:
    """Name the runs that a person could have judged: a pool rests on those of its fields."""
    return [row.run_id, *row.details.get("runs", [])] if isinstance(row, SampleMeasure) else [row.run_id]


def _status(verdicts: list[str]) -> str:
    """Accepted where every field was, rejected where one was."""
    if Review.Verdict.REJECT in verdicts:
        return "rejected"
    judged = [v for v in verdicts if v]
    return "accepted" if judged and len(judged) >= max(1, len(verdicts) - 1) else "proposed"


def _within(cells: list[int]) -> Q:
    pieces = Q(part__dissection__cell__in=cells)
    for path in _LINE:
        pieces |= Q(**{f"{path}__cell__in": cells})
    return pieces


def _within_ties(cells: list[int]) -> Q:
    pieces = Q()
    for path in _LINE:
        pieces |= Q(**{f"micrograph__ties__{path}__cell__in": cells})
    return pieces


def _shown(row: SampleMeasure | FieldMeasure, status: str) -> list[tuple[int, ShownMeasure]]:
    unit = row.unit.replace("um", "µm")
    estimate = Estimate(row.value, row.low, row.high, unit, row.n, row.method)
    if isinstance(row, FieldMeasure):
        tie = max(row.micrograph.ties.all(), key=lambda t: t.pk, default=None)
        cell, of, href, rank = (
            cell_of(tie.sample if tie else None),
            "one field",
            address("micrograph", row.micrograph_id),
            0,
        )
    elif row.part_id:
        cell, of, rank = row.part.dissection.cell_id, "whole electrode", 2  # type: ignore[union-attr]
        href = address("run", row.run_id)
    else:
        cell, of, rank = cell_of(row.sample), f"sample {row.sample}", 1
        href = address("sample", row.sample.code)  # type: ignore[union-attr]
    if cell is None:
        return []
    key = key_of(row.quantity)
    words = WORDS.get(key, key.replace("_", " "))
    return [(cell, ShownMeasure(key, words, estimate, status, of, href, row.unit == "1", rank))]


def key_of(quantity: str) -> str:
    """Give a quantity without its unit: ``oxide_thickness_um`` is ``oxide_thickness``."""
    for suffix in ("_per_um", "_per_px", "_um", "_px"):
        quantity = quantity.removesuffix(suffix)
    return quantity


def _best(shown: list[ShownMeasure]) -> dict[str, ShownMeasure]:
    """Keep one for each quantity; the list is in the order in which they were made."""
    best: dict[str, ShownMeasure] = {}
    for measure in shown:
        known = best.get(measure.quantity)
        if known is None or (measure.rank, measure.status == "accepted") >= (
            known.rank,
            known.status == "accepted",
        ):
            best[measure.quantity] = measure
    order = ["oxide_coverage", *HEADLINE, *WORDS]
    return dict(
        sorted(best.items(), key=lambda item: order.index(item[0]) if item[0] in order else len(order))
    )


@dataclass(frozen=True, slots=True)
class PhaseRow:
    """A phase in a sample, with e.s.d. and honest uncertainty, as fractions."""

    phase: str
    weight_fraction: float
    esd: float | None
    u: float | None
    below_limit: bool


@dataclass(frozen=True, slots=True)
class ShownFit:
    """Phase fractions of one sample from one fit."""

    sample: str
    source: str
    status: str
    rows: tuple[PhaseRow, ...]
    flags: tuple[dict[str, object], ...]
    href: str


def fits_of(cell: int) -> list[ShownFit]:
    """Give the standing fits of a cell's samples, the newest of each pattern or sample first."""
    samples = Sample.objects.filter(of_cell("", cell))
    fits = (
        Fit.objects.filter(Q(sample__in=samples) | Q(pattern__sample__in=samples))
        .select_related("sample", "pattern__sample")
        .prefetch_related("fractions")
    )
    verdicts = dict(FitReview.objects.filter(fit__in=fits).order_by("pk").values_list("fit", "verdict"))
    shown, seen = [], set()
    for fit in fits:
        of = fit.pattern_id or f"sample {fit.sample_id}"
        verdict = verdicts.get(fit.pk, "")
        if verdict == FitReview.Verdict.REJECT or of in seen:
            continue
        seen.add(of)
        sample = fit.sample or (fit.pattern.sample if fit.pattern else None)
        rows = tuple(
            PhaseRow(f.phase, f.weight_fraction, f.esd, f.u, f.below_limit) for f in fit.fractions.all()
        )
        href = address("pattern", fit.pattern_id) if fit.pattern_id else ""
        source = fit.source or ("fitted here" if fit.pattern_id else "brought from outside")
        shown.append(
            ShownFit(
                str(sample or ""), source, "accepted" if verdict else "proposed", rows, tuple(fit.flags), href
            )
        )
    return shown
