"""Count by eye: points of a grid, or crossings of the metal outline, set before anyone looks."""

from collections.abc import Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from teardown.accounts.roles import demand
from teardown.imaging.models import Count, Micrograph, SectionResult
from teardown.imaging.runs import standing
from teardown.imaging.store import classes_at
from teardown.records.actions import record

ANSWERS = ("pore", "oxide", "metal", "pore or oxide", "oxide or metal", "pore or metal", "cannot tell")


def add_count(
    *, micrograph: Micrograph, kind: str, seed: int, answers: Sequence[Sequence[Any]], by: Any
) -> Count:
    """Keep a count by eye, with what it says and how it stands beside the computer's classes.

    ``answers`` are rows of x, y and an answer of :data:`ANSWERS`.

    Raises
    ------
    ValidationError
        If an answer is none of those, or fewer than ten were given.
    """
    demand(by, "measures.review")
    rows = [[float(x), float(y), str(answer)] for x, y, answer in answers]
    strange = {str(row[2]) for row in rows} - set(ANSWERS)
    if strange:
        raise ValidationError(f"{', '.join(sorted(strange))} is no answer. Say one of {', '.join(ANSWERS)}.")
    if len(rows) < 10:
        raise ValidationError(f"{len(rows)} answers are too few to say anything. Count at least ten.")
    result = standing([micrograph]).get(micrograph.pk)
    found = _crossings(rows) if kind == Count.Kind.CROSSINGS else _points(rows, result)
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
        found["paired"] = {
            "table": pair.table,
            "difference": pair.difference,
            "standard_error": pair.standard_error,
            "p": pair.p,
            "agreement": pair.agreement,
            "points": len(kept),
        }
    return found


def _crossings(rows: Sequence[Sequence[Any]]) -> dict[str, Any]:
    from teardown.science.stereology.counting import crossing_coverage

    tally = {name: sum(row[2] == name for row in rows) for name in ("oxide", "pore")}
    if not sum(tally.values()):
        raise ValidationError("No crossing was called oxide or pore.")
    unsure = len(rows) - sum(tally.values())
    coverage = crossing_coverage(tally["oxide"], tally["pore"], unsure)
    return {"coverage": coverage.as_dict(), "cannot_tell": unsure}
