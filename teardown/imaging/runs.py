"""Ask for measurements, and tell which of a micrograph's results stands."""

from collections.abc import Iterable, Mapping
from functools import partial
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q

from teardown.dissection.models import Part, Sample
from teardown.files.models import Run
from teardown.files.runs import ask, key_of
from teardown.files.tasks import ring_on_commit, work
from teardown.imaging.models import (
    Classifier,
    Levels,
    Micrograph,
    Region,
    Review,
    SampleMeasure,
    ScaleClaim,
    SectionResult,
    StrokeSet,
    Tie,
    planes_of,
)
from teardown.records.rules import subject_of

# some half a minute of work; what is larger lets smaller pictures be measured first
LONG_PX = 32_000_000


def tie_of(micrograph: Micrograph) -> Tie | None:
    """Give what a micrograph is of: its latest tie."""
    return micrograph.ties.select_related("sample", "section__mount").order_by("-pk").first()


def scale_of(micrograph: Micrograph) -> ScaleClaim | None:
    """Give the scale that counts: the latest that was chosen."""
    return micrograph.scale_claims.filter(chosen=True).order_by("-pk").first()


def regions_of(micrograph: Micrograph) -> list[Region]:
    """Give the regions that count: of each kind and name the highest version, unless it is empty."""
    latest: dict[tuple[str, str], Region] = {}
    for region in micrograph.regions.order_by("version", "pk"):
        latest[region.kind, region.name] = region
    return [region for region in latest.values() if region.points]


def pages_of(micrograph: Micrograph) -> list[Micrograph]:
    """Give the micrographs that are pages of the same file and were brought with it, in their order."""
    return list(
        Micrograph.objects.filter(receipt=micrograph.receipt_id)
        .select_related("receipt")
        .order_by("page", "pk")
    )


def standing(micrographs: Iterable[Micrograph]) -> dict[int, SectionResult]:
    """Give each micrograph's standing result: the latest accepted, else the latest that nobody rejected.

    What was measured again for comparison stands only once it is accepted. Three queries, however many
    micrographs.
    """
    results = list(
        SectionResult.objects.filter(micrograph__in=list(micrographs))
        .select_related("run__asked_by")
        .defer("sums")  # of a mosaic they are large, and most who ask want other columns
        .order_by("pk")
    )
    verdicts = verdicts_on([result.run_id for result in results])
    found: dict[int, SectionResult] = {}
    for wanted in ("", Review.Verdict.ACCEPT):
        for result in results:
            if verdicts.get(result.run_id, "") == wanted and not (result.held and not wanted):
                found[result.micrograph_id] = result
    return found


def verdicts_on(runs: Iterable[int]) -> dict[int, str]:
    """Give the latest verdict on each run."""
    return dict(Review.objects.filter(run__in=list(runs)).order_by("pk").values_list("run", "verdict"))


def section_settings(micrograph: Micrograph, **more: Any) -> dict[str, Any]:
    """Gather what a measurement of this micrograph depends on, as it is known now.

    ``more`` goes before it: levels set by hand, a trained classifier, the word that it is held.
    """
    claims = list(micrograph.scale_claims.order_by("pk"))
    claim = next((one for one in reversed(claims) if one.chosen and one.by_id), None)
    hints = [scale_data(one) for one in claims if one.source == ScaleClaim.Source.SIDECAR and not one.by_id]
    asked: dict[str, Any] = {"regions": _regions_data(regions_of(micrograph))}
    if micrograph.page:
        asked["page"] = micrograph.page
    if claim is not None:
        asked["scale"] = scale_data(claim)
    elif hints:
        asked["hints"] = hints
    pinned = _pinned(micrograph)
    if pinned is not None:
        asked["levels"] = {
            "pore": pinned.pore,
            "oxides": [pinned.oxide],
            "metal": pinned.metal,
            "source": "pinned",
        }
        if pinned.edge_sigma_px:
            asked["edge_sigma_px"] = pinned.edge_sigma_px
    return asked | more


def scale_data(claim: ScaleClaim) -> dict[str, Any]:
    """Give a scale as plain data."""
    return {
        "source": claim.source,
        "pixel_width_um": claim.pixel_width_um,
        "pixel_height_um": claim.pixel_height_um,
    }


def manual_levels(result: SectionResult, lower: float, upper: float) -> dict[str, Any]:
    """Give levels for two thresholds, as a run is asked with them.

    Raises
    ------
    ValidationError
        If pore, the thresholds and metal do not rise in this order.
    """
    from teardown.science.errors import Refusal
    from teardown.science.stereology.levels import levels_from_thresholds

    found = result.levels
    try:
        levels = levels_from_thresholds(found["pore"], found["metal"], lower, upper)
    except Refusal as refusal:
        raise ValidationError(str(refusal)) from refusal
    return {
        "pore": levels.pore,
        "oxides": list(levels.oxides),
        "metal": levels.metal,
        "bright": found.get("bright"),
        "thresholds": [lower, upper],
        "source": "manual",
    }


def _pinned(micrograph: Micrograph) -> Levels | None:
    if micrograph.session_id is None:
        return None
    return Levels.objects.filter(session=micrograph.session_id).order_by("-pk").first()


def _regions_data(regions: list[Region]) -> dict[str, Any]:
    data: dict[str, Any] = {}
    for region in regions:
        if region.kind == Region.Kind.STRIP:
            rows = [point[1] for point in region.points]
            data["strip"] = [min(rows), max(rows)]
            data["strip_confirmed"] = region.confirmed
        else:
            data.setdefault(region.kind, []).append(region.points)
    return data


def ask_section(micrograph: Micrograph, *, by: Any, classifier: Classifier | None = None, **more: Any) -> Run:
    """Ask for a micrograph to be measured, by strokes where a classifier is given, inside the deed's
    transaction."""
    inputs: dict[str, Any] = {"picture": micrograph.receipt.file}
    if classifier is not None:
        inputs["classifier"] = classifier.stored
        more["trained"] = {"classifier": classifier.pk, "accuracy": classifier.accuracy}
    asked = section_settings(micrograph, **more)
    if classifier is None and asked.get("levels"):
        asked = _with_known(micrograph, asked)
    run = ask("imaging.section", subject=micrograph, by=by, settings_=asked, inputs=inputs)
    ring_on_commit(run, behind=micrograph.width_px * micrograph.height_px > LONG_PX)
    return run


def is_being_measured(micrograph: Micrograph) -> bool:
    """Tell whether a measurement of a micrograph waits or goes on."""
    going = (Run.State.QUEUED, Run.State.RUNNING)
    subject = subject_of(micrograph)
    return Run.objects.filter(subject=subject, function="imaging.section", state__in=going).exists()


def _with_known(micrograph: Micrograph, asked: dict[str, Any]) -> dict[str, Any]:
    """Add what the first result on these pixels found, where levels are given: noise, light, and how the
    numbers hang on the levels.

    Noise and light would be found again to the last digit; written into the question they cost nothing, and
    whoever repeats the run from its settings repeats it exactly. A question that was asked without them
    stays that question.
    """
    from teardown.science.stereology.settings import VERSION

    inputs = [("picture", micrograph.receipt.file.sha256)]
    if Run.objects.filter(key=key_of("imaging.section", subject_of(micrograph), asked, inputs)).exists():
        return asked
    if any(one.pixel_width_um != one.pixel_height_um for one in micrograph.scale_claims.all()):
        return asked  # a scale may have stretched the pixels that were looked at
    same = {"regions": asked["regions"], "settings": asked.get("settings"), "trained": None}
    for result in micrograph.results.select_related("run").defer("sums").order_by("pk"):
        was, found = result.run.settings, result.levels
        looked = result.run.function == "imaging.section" and found.get("version") == VERSION
        if looked and all(was.get(name) == value for name, value in same.items()):
            known = {"noise": found["noise"], "gain": found["gain"], "slopes": result.sums.get("slopes")}
            return asked | {"known": known}
    return asked


def together_with(micrograph: Micrograph) -> list[Micrograph]:
    """Give the micrographs that strokes are shared with: those of its session, else itself alone."""
    if micrograph.session_id is None:
        return [micrograph]
    return list(
        Micrograph.objects.filter(session=micrograph.session_id, kind=Micrograph.Kind.SECTION)
        .select_related("receipt__file", "session")
        .order_by("pk")
    )


def strokes_of(micrographs: Iterable[Micrograph]) -> dict[int, StrokeSet]:
    """Give the strokes that count on each micrograph: the highest version, unless it is empty. One query."""
    latest: dict[int, StrokeSet] = {}
    for drawn in StrokeSet.objects.filter(micrograph__in=list(micrographs)).order_by("version"):
        latest[drawn.micrograph_id] = drawn
    return {number: drawn for number, drawn in latest.items() if drawn.strokes}


def ask_training(micrograph: Micrograph, *, by: Any) -> Run | None:
    """Ask for a classifier to be trained on the strokes of a session; None where none are drawn."""
    pictures = {one.pk: one for one in together_with(micrograph)}
    drawn = strokes_of(pictures.values())
    if not drawn:
        return None
    run = ask(
        "imaging.train",
        subject=micrograph.session or micrograph,
        by=by,
        settings_={"strokes": sorted(one.pk for one in drawn.values()), "seed": 0},
        inputs={f"picture {number}": pictures[number].receipt.file for number in sorted(drawn)},
    )
    ring_on_commit(run)
    return run


def classifiers_of(micrograph: Micrograph) -> list[Classifier]:
    """Give what was learned for a micrograph's session, or for itself alone; the latest first."""
    scope = Q(session=micrograph.session_id) if micrograph.session_id else Q(micrograph=micrograph)
    return list(Classifier.objects.filter(scope).select_related("run__asked_by", "stored").order_by("-pk"))


def ask_rescaled(result: SectionResult, claim: ScaleClaim, *, by: Any) -> Run:
    """Ask for a measured field to be given another pixel size, and have it done as soon as it is written.

    No pixel is read, so nobody waits for a worker; should this process end before, a worker takes it up.
    """
    run = ask(
        "imaging.rescale",
        subject=result.micrograph,
        by=by,
        settings_={"run": result.run_id, "scale": scale_data(claim)},
        inputs={"measured": result.run},
    )
    if run.state == Run.State.QUEUED:
        transaction.on_commit(partial(work.func, run.pk))
    return run


def ask_pooled(sample: Sample, *, by: Any, chosen: Mapping[str, Any] | None = None) -> Run | None:
    """Ask for the standing fields of a sample to be pooled; None where it has none.

    Fields of a section whose artefacts make oxide are marked, and left out of coverage unless ``chosen``, a
    person's choice with its reason, counts them; a choice holds until another is made.
    """
    ties = _ties_to(sample)
    fields = [tie.micrograph for tie in ties.values()]
    results = sorted(standing(fields).values(), key=lambda result: result.run_id)
    if not results:
        return None
    asked: dict[str, Any] = {"runs": [result.run_id for result in results]}
    marks = _marks_by_field(ties, sample)
    marked = {str(result.run_id): list(marks[result.micrograph_id]) for result in results}
    if marked := {run: words for run, words in marked.items() if words}:
        chosen = chosen or chosen_of(sample)
        asked["coverage"] = {"marked": marked} | ({"chosen": dict(chosen)} if chosen else {})
    run = ask(
        "imaging.sample",
        subject=sample,
        by=by,
        settings_=asked,
        inputs={f"field {result.micrograph_id}": result.run for result in results},
    )
    ring_on_commit(run)
    return run


def _ties_to(sample: Sample) -> dict[int, Tie]:
    """Give, by micrograph, the latest tie of each section that shows this sample now. One query."""
    ever = Tie.objects.filter(micrograph__ties__sample=sample, micrograph__kind=Micrograph.Kind.SECTION)
    rows = ever.select_related("micrograph", "section__mount").order_by("pk")
    latest = {tie.micrograph_id: tie for tie in rows}
    return {number: tie for number, tie in latest.items() if tie.sample_id == sample.pk}


def marks_of(tie: Tie | None) -> tuple[str, ...]:
    """Give the artefacts of its section that leave a micrograph out of oxide coverage, in words."""
    plane = tie.plane() if tie else None
    return plane.out_of_coverage() if plane else ()


def _marks_by_field(ties: Mapping[int, Tie], sample: Sample) -> dict[int, tuple[str, ...]]:
    """Give the same for all fields of a sample, by micrograph: one query for its planes, one for each that
    shows in a field."""
    planes = list(planes_of(sample.pk))
    shown = {number: tie.plane(planes) for number, tie in ties.items()}
    marks = {plane: plane.out_of_coverage() for plane in set(shown.values()) if plane}
    return {number: marks[plane] if plane else () for number, plane in shown.items()}


def chosen_of(sample: Sample) -> dict[str, Any]:
    """Give the latest choice on whether marked fields of a sample count in coverage, as its run was asked."""
    runs = Run.objects.filter(function="imaging.sample", subject=subject_of(sample))
    found = runs.filter(settings__coverage__chosen__isnull=False).order_by("-pk").first()
    return dict(found.settings["coverage"]["chosen"]) if found else {}


def ask_electrode(part: Part, *, by: Any) -> Run | None:
    """Ask for the samples of an electrode to be pooled; None below two measured samples."""
    latest = latest_pools(part)
    if len(latest) < 2:
        return None
    runs = Run.objects.in_bulk(latest.values())
    run = ask(
        "imaging.electrode",
        subject=part,
        by=by,
        settings_={"samples": sorted(latest), "runs": sorted(latest.values())},
        inputs={f"sample {sample}": runs[number] for sample, number in latest.items()},
    )
    ring_on_commit(run)
    return run


def latest_pools(part: Part) -> dict[int, int]:
    """Give the latest pooling run of each measured sample that came from a part, by the sample's number.

    Pieces cut from a sample count with what they were cut from only where that was not measured itself.
    """
    generations = Q()
    line = "sample__part"
    for _ in range(4):
        generations |= Q(**{line: part})
        line = line.replace("__part", "__parent__part")
    rows = SampleMeasure.objects.filter(generations).order_by("run_id").values_list("sample_id", "run_id")
    latest = dict(rows)
    parents = dict(Sample.objects.filter(pk__in=latest).values_list("pk", "parent"))
    return {sample: run for sample, run in latest.items() if parents[sample] not in latest}


class PoolAfter:
    """Written last among a field's rows: asks for its sample to be pooled, now that the field counts."""

    def __init__(self, micrograph: Micrograph, by: Any) -> None:
        """Keep which field was measured and who asked."""
        self.micrograph, self.by = micrograph, by

    def save(self) -> None:
        """Ask."""
        tie = tie_of(self.micrograph)
        if tie is not None and tie.sample is not None:
            ask_pooled(tie.sample, by=self.by)


class ElectrodeAfter:
    """Written last among a sample's rows: asks for its electrode to be pooled, now that the sample counts."""

    def __init__(self, sample: Sample, by: Any) -> None:
        """Keep which sample was pooled and who asked."""
        self.sample, self.by = sample, by

    def save(self) -> None:
        """Ask."""
        part = self.sample.origin
        if part is not None:
            ask_electrode(part, by=self.by)
