"""What was measured on sections and patterns, cell by cell, with its standing."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from django.db.models import Exists, OuterRef, Q

from teardown.diffraction.dossier.fractions import GroupLine, group_lines
from teardown.diffraction.models import Fit
from teardown.diffraction.models import Review as FitReview
from teardown.dissection.models import Mounted, Section
from teardown.imaging.dossier.numbers import HEADLINE, WORDS
from teardown.imaging.models import FieldMeasure, Review, SampleMeasure, Tie
from teardown.imaging.rules import COVERAGE, by_a_person
from teardown.imaging.runs import verdicts_on
from teardown.page.navigation import address
from teardown.page.typesetting import as_count
from teardown.review.models import samples_of
from teardown.science.estimate import Estimate
from teardown.vocabulary.models import Term


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


def ties_of(samples: Mapping[int, int]) -> dict[int, tuple[int, Tie]]:
    """Tell of each micrograph to which cell it belongs, by its latest tie to one of these samples.

    A tie may name a sample, or only the section; then the sample in its mount counts.
    """
    later = Tie.objects.filter(micrograph=OuterRef("micrograph"), pk__gt=OuterRef("pk"))
    named = Q(sample__in=samples) | Q(sample=None, section__mount__contents__sample__in=samples)
    ties = Tie.objects.filter(named, ~Exists(later)).select_related("sample", "section__mount").distinct()
    found = {}
    for tie in ties.prefetch_related("section__mount__contents").order_by("pk"):
        mounted = tie.section.mount.contents.all() if tie.section else ()
        sample = tie.sample_id or next(m.sample_id for m in mounted if m.sample_id in samples)
        found[tie.micrograph_id] = (samples[sample], tie)
    return found


def measures_of(cells: Iterable[int]) -> dict[int, dict[str, ShownMeasure]]:
    """Give the standing measures of each cell by quantity.

    An electrode counts before a sample, a sample before a single field; among equals the latest that nobody
    rejected. A fixed number of queries, however many cells.
    """
    wanted = list(cells)
    samples = samples_of(wanted)
    ties = ties_of(samples)
    found: dict[int, list[ShownMeasure]] = defaultdict(list)
    pooled = SampleMeasure.objects.filter(sample__in=samples).select_related("sample")
    whole = SampleMeasure.objects.filter(part__dissection__cell__in=wanted).select_related("part__dissection")
    fields = FieldMeasure.objects.filter(micrograph__in=ties)
    rows: list[SampleMeasure | FieldMeasure] = [
        *fields.order_by("pk"),
        *pooled.order_by("pk"),
        *whole.order_by("pk"),
    ]
    verdicts = verdicts_on({run for row in rows for run in _made_from(row)})
    states = [_status([verdicts.get(run, "") for run in _made_from(row)]) for row in rows]
    counting = [(row, status) for row, status in zip(rows, states, strict=True) if status != "rejected"]
    out = _left_out_pools(counting)
    counting = [(row, status) for row, status in counting if row not in out]
    out = _left_out_fields(counting, ties, samples)
    for row, status in counting:
        if row not in out:
            found[_cell_of(row, ties, samples)].append(_shown(row, status))
    return {cell: _best(shown) for cell, shown in found.items()}


def _cell_of(
    row: SampleMeasure | FieldMeasure, ties: Mapping[int, tuple[int, Tie]], samples: Mapping[int, int]
) -> int:
    if isinstance(row, FieldMeasure):
        return ties[row.micrograph_id][0]
    return samples[row.sample_id] if row.sample_id else row.part.dissection.cell_id  # type: ignore[union-attr]


def _marked(ties: Mapping[int, tuple[int, Tie]]) -> set[int]:
    """Give the micrographs of sections with an artefact that keeps them out of coverage; two queries."""
    keys = set(Term.objects.filter(data__out_of_coverage=True).values_list("key", flat=True))
    wanted = {tie.sample_id for _, tie in ties.values() if tie.sample_id}
    planes: dict[int, list[Section]] = defaultdict(list)
    for content in Mounted.objects.filter(sample__in=wanted).prefetch_related("mount__sections"):
        planes[content.sample_id] += content.mount.sections.all()
    found = set()
    for micrograph, (_, tie) in ties.items():
        before = [plane for plane in planes.get(tie.sample_id or 0, []) if plane.at <= tie.at]
        plane = tie.section or max(before, key=lambda each: each.pk, default=None)
        if plane is not None and keys.intersection(plane.artefacts):
            found.add(micrograph)
    return found


def _left_out_pools(
    counting: Iterable[tuple[SampleMeasure | FieldMeasure, str]],
) -> set[SampleMeasure | FieldMeasure]:
    """Give the pooled coverages that a later pool of the same left out, for an artefact of a section."""
    pools = [row for row, _ in counting if isinstance(row, SampleMeasure)]
    latest: dict[tuple[int | None, int | None], int] = {}
    for row in pools:
        if "marked" in row.details:
            of = (row.sample_id, row.part_id)
            latest[of] = max(latest.get(of, 0), row.run_id)
    return {
        row
        for row in pools
        if row.quantity in COVERAGE and row.run_id < latest.get((row.sample_id, row.part_id), 0)
    }


def _left_out_fields(
    counting: Iterable[tuple[SampleMeasure | FieldMeasure, str]],
    ties: Mapping[int, tuple[int, Tie]],
    samples: Mapping[int, int],
) -> set[SampleMeasure | FieldMeasure]:
    """Give the coverages of single fields of sections with an artefact, where they would stand for a cell."""
    covered = [row for row, _ in counting if row.quantity in COVERAGE]
    pooled = {_cell_of(row, ties, samples) for row in covered if isinstance(row, SampleMeasure)}
    alone = [
        row for row in covered if isinstance(row, FieldMeasure) and ties[row.micrograph_id][0] not in pooled
    ]
    marked = _marked({row.micrograph_id: ties[row.micrograph_id] for row in alone}) if alone else set()
    return {row for row in covered if isinstance(row, FieldMeasure) and row.micrograph_id in marked}


def _made_from(row: SampleMeasure | FieldMeasure) -> list[int]:
    """Name the runs that a person could have judged: a pool rests on those of its fields."""
    return [row.run_id, *row.details.get("runs", [])] if isinstance(row, SampleMeasure) else [row.run_id]


def _status(verdicts: list[str]) -> str:
    """Accepted where every field was, rejected where one was."""
    if Review.Verdict.REJECT in verdicts:
        return "rejected"
    judged = [v for v in verdicts if v]
    return "accepted" if judged and len(judged) >= max(1, len(verdicts) - 1) else "proposed"


def _shown(row: SampleMeasure | FieldMeasure, status: str) -> ShownMeasure:
    key, unit = key_of(row.quantity), row.unit.replace("um", "µm")
    estimate = Estimate(row.value, row.low, row.high, unit, row.n, row.method)
    if isinstance(row, FieldMeasure):
        of, href, rank = "one field", address("micrograph", row.micrograph_id), 0
    elif row.sample:
        of, href, rank = f"sample {row.sample}", address("run", row.run_id), 1
    else:
        of, href, rank = "whole electrode", address("run", row.run_id), 2
    words = WORDS.get(key, key.replace("_", " "))
    sources = row.details.get("levels") or []
    if marked := by_a_person([sources] if isinstance(sources, str) else sources):
        of += f", {marked}"
    if row.quantity in COVERAGE and (known := row.details.get("marked")):
        of += f", {as_count(known['fields'], 'field')} with an artefact ({', '.join(known['artefacts'])}) "
        of += "counted by choice" if known["counted"] else "left out"
    return ShownMeasure(key, words, estimate, status, of, href, row.unit == "1", rank)


def key_of(quantity: str) -> str:
    """Give a quantity without its unit: ``oxide_thickness_um`` is ``oxide_thickness``."""
    for suffix in ("_per_um", "_per_px", "_um", "_px"):
        quantity = quantity.removesuffix(suffix)
    return quantity


def _best(shown: list[ShownMeasure]) -> dict[str, ShownMeasure]:
    """Keep one for each quantity, and say where it is one of several; the list is in order of making."""
    best: dict[str, ShownMeasure] = {}
    for measure in shown:
        known = best.get(measure.quantity)
        if known is None or _weight(measure) >= _weight(known):
            best[measure.quantity] = measure
    for key, kept in best.items():
        alike = {m.of for m in shown if m.quantity == key and m.rank == kept.rank}
        if kept.rank == 1 and len(alike) > 1:
            best[key] = replace(kept, of=f"{kept.of}, one of {len(alike)} samples measured")
    order = ["oxide_coverage", *HEADLINE, *WORDS]
    return dict(
        sorted(best.items(), key=lambda item: order.index(item[0]) if item[0] in order else len(order))
    )


def _weight(measure: ShownMeasure) -> tuple[int, bool]:
    return measure.rank, measure.status == "accepted"


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
    groups: tuple[GroupLine, ...]
    flags: tuple[dict[str, object], ...]
    href: str


def fits_of(cell: int) -> list[ShownFit]:
    """Give the standing fits of a cell's samples, the newest of each pattern or sample first."""
    samples = samples_of([cell])
    fits = (
        Fit.objects.filter(Q(sample__in=samples) | Q(pattern__sample__in=samples))
        .select_related("sample", "pattern__sample")
        .prefetch_related("fractions")
    )
    verdicts = dict(FitReview.objects.filter(fit__in=fits).order_by("pk").values_list("fit", "verdict"))
    shown, seen = [], set()
    accept = FitReview.Verdict.ACCEPT
    for fit in sorted(fits, key=lambda f: (verdicts.get(f.pk) == accept, f.pk), reverse=True):
        of = fit.pattern_id or f"sample {fit.sample_id}"
        verdict = verdicts.get(fit.pk, "")
        if verdict == FitReview.Verdict.REJECT or of in seen:
            continue
        seen.add(of)
        sample = fit.sample or (fit.pattern.sample if fit.pattern else None)
        rows = tuple(
            PhaseRow(f.details.get("name") or f.phase, f.weight_fraction, f.esd, f.u, f.below_limit)
            for f in fit.fractions.all()
        )
        href = address("pattern", fit.pattern_id) if fit.pattern_id else ""
        source = fit.source or ("fitted here" if fit.pattern_id else "brought from outside")
        shown.append(
            ShownFit(
                str(sample or ""),
                source,
                "accepted" if verdict else "proposed",
                rows,
                group_lines(fit),
                tuple(fit.flags),
                href,
            )
        )
    return shown
