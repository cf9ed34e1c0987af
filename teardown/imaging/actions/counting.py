"""Count by eye: points of a grid, or crossings of the metal outline, set before anyone looks."""

from collections.abc import Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from teardown.accounts.roles import demand
from teardown.imaging.models import Count, Micrograph, SectionResult
from teardown.imaging.rules import LINE_SETS
from teardown.imaging.runs import standing
from teardown.imaging.store import classes_at, crossings_of, places_of, seeds_of
from teardown.records.actions import record

BEYOND_PX = 0.8
LINES = tuple(LINE_SETS)
SURE = frozenset({"pore", "oxide", "metal"})
ANSWERS = ("pore", "oxide", "metal", "pore or oxide", "oxide or metal", "pore or metal", "cannot tell")


def add_count(
    *,
    micrograph: Micrograph,
    kind: str,
    seed: int,
    answers: Sequence[Sequence[Any]],
    by: Any,
    run: int | None = None,
    lines: str = "",
) -> Count:
    """Keep a count by eye, with what it says and how it stands beside the computer's classes.

    Counted with the seed of another person's count, it is compared with that one place by place.

    Parameters
    ----------
    answers : sequence
        Rows of x, y and an answer of :data:`ANSWERS`, in the order of the places that the seed sets.
    lines : str, optional
        The set of test lines that was chosen before looking, of :data:`LINES`; kept with the count.
    run : int, optional
        The run on whose classes the places were set; the standing one where not given.

    Raises
    ------
    ValidationError
        If an answer is none of those, fewer than ten were given, or the places are not those of the seed.
    """
    demand(by, "measures.review")
    rows = [[float(x), float(y), str(answer)] for x, y, answer in answers]
    strange = {str(row[2]) for row in rows} - set(ANSWERS)
    if strange:
        raise ValidationError(f"{', '.join(sorted(strange))} is no answer. Say one of {', '.join(ANSWERS)}.")
    if len(rows) < 10:
        raise ValidationError(f"{len(rows)} answers are too few to say anything. Count at least ten.")
    result = _result_of(micrograph, run)
    if kind == Count.Kind.CROSSINGS and (lines := lines or LINES[0]) not in LINES:
        raise ValidationError(f"{lines} is no set of test lines. Choose one of {', '.join(LINES)}.")
    _check_places(micrograph, kind, seed, rows, result, lines)
    if kind == Count.Kind.CROSSINGS:
        found = _crossings(rows, result, crossings_of(micrograph, seed, result, lines)) | {"lines": lines}
    else:
        found = _points(rows, result)
    found["others"] = _others(micrograph, kind, seed, rows, by)
    with transaction.atomic():
        count = Count(
            micrograph=micrograph,
            kind=kind,
            seed=seed,
            answers=rows,
            found=found,
            run=result.run if result else None,
            by=by,
        )
        count.full_clean()
        count.save()
        payload = {"kind": kind, "answers": len(rows)}
        record(verb="counted by eye", subject=micrograph, by=by, payload=payload)
    return count


def _points(rows: Sequence[Sequence[Any]], result: SectionResult | None) -> dict[str, Any]:
    """Give each class's share with half points on borders; and pair sure points with the computer's
    classes."""
    from teardown.science.stereology.counting import paired, single_field_fraction

    told = [row for row in rows if row[2] != "cannot tell"]
    found: dict[str, Any] = {"cannot_tell": len(rows) - len(told)}
    for name in ("pore", "oxide", "metal"):
        hits = sum(1.0 if row[2] == name else 0.5 if name in row[2].split(" or ") else 0.0 for row in told)
        found[name] = single_field_fraction(hits, len(told)).as_dict()
    sure = [row for row in told if row[2] in ("pore", "oxide", "metal")]
    computer = classes_at(result, [(row[0], row[1]) for row in sure]) if result else []
    kept = [(row, code) for row, code in zip(sure, computer, strict=False) if code in (0, 1, 2)]
    if kept:
        pair = paired(
            [("pore", "oxide", "metal").index(row[2]) for row, _ in kept], [code for _, code in kept]
        )
        found["paired"] = _pair_data(pair, len(kept))
    return found


def _crossings(
    rows: Sequence[Sequence[Any]], result: SectionResult | None, crossings: Sequence[Sequence[float]]
) -> dict[str, Any]:
    """Give the coverage that the crossings say, and pair them with what the computer sees beyond metal."""
    from teardown.science.stereology.counting import crossing_coverage, paired

    tally = {name: sum(row[2] == name for row in rows) for name in ("oxide", "pore")}
    if not sum(tally.values()):
        raise ValidationError("No crossing was called oxide or pore. Call some of them, then keep the count.")
    unsure = len(rows) - sum(tally.values())
    coverage = crossing_coverage(tally["oxide"], tally["pore"], unsure)
    found: dict[str, Any] = {"coverage": coverage.as_dict(), "cannot_tell": unsure}
    called = list(zip(rows, crossings, strict=False))
    sure = [row for row, _ in called if row[2] in ("pore", "oxide")]
    beyond = _beyond_metal([place for row, place in called if row[2] in ("pore", "oxide")], result)
    kept = [(row, code) for row, code in zip(sure, beyond, strict=True) if code in (0, 1)]
    if kept:
        pair = paired([("pore", "oxide").index(row[2]) for row, _ in kept], [code for _, code in kept])
        found["paired"] = _pair_data(pair, len(kept))
    return found


def _beyond_metal(crossings: Sequence[Sequence[float]], result: SectionResult | None) -> list[int]:
    """Give the computer's class a pixel beyond the metal at each crossing."""
    if result is None:
        return [3] * len(crossings)
    return classes_at(result, [(x + BEYOND_PX * dx, y + BEYOND_PX * dy) for x, y, dx, dy in crossings])


def _pair_data(pair: Any, points: int) -> dict[str, Any]:
    return {
        "table": pair.table,
        "difference": pair.difference,
        "standard_error": pair.standard_error,
        "p": pair.p,
        "agreement": pair.agreement,
        "points": points,
    }


def _result_of(micrograph: Micrograph, run: int | None) -> SectionResult | None:
    if run is None:
        return standing([micrograph]).get(micrograph.pk)
    result = SectionResult.objects.filter(micrograph=micrograph, run=run).first()
    if result is None:
        raise ValidationError("The places were set on a run that this picture does not have.")
    return result


def _check_places(
    micrograph: Micrograph,
    kind: str,
    seed: int,
    rows: Sequence[Sequence[Any]],
    result: SectionResult | None,
    lines: str,
) -> None:
    """Hold a count to the grid that its seed set before anyone looked."""
    if seed not in seeds_of(micrograph, kind):
        raise ValidationError("This grid was not set for this picture. Begin the count again from its page.")
    places = places_of(micrograph, kind, seed, result, lines)
    apart = len(rows) > len(places) or any(
        abs(row[0] - x) > 0.01 or abs(row[1] - y) > 0.01 for row, (x, y) in zip(rows, places, strict=False)
    )
    if apart:
        raise ValidationError("These are not the places that were set before looking. Nothing was kept.")


def _others(
    micrograph: Micrograph, kind: str, seed: int, rows: Sequence[Sequence[Any]], by: Any
) -> list[dict[str, Any]]:
    """Compare with what others said at the same places, where both are sure."""
    found = []
    for other in micrograph.counts.filter(kind=kind, seed=seed).exclude(by=by).select_related("by"):
        theirs = {(row[0], row[1]): row[2] for row in other.answers}
        both = [
            (row[2], theirs[row[0], row[1]])
            for row in rows
            if row[2] in SURE and theirs.get((row[0], row[1])) in SURE
        ]
        if both:
            same = sum(a == b for a, b in both)
            found.append(
                {"count": other.pk, "by": str(other.by), "places": len(both), "agreement": same / len(both)}
            )
    return found
