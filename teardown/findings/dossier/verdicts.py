"""Which reading of each cell counts: decided, agreed, or the only one; else undetermined."""

from dataclasses import dataclass

from django.db.models import QuerySet

from teardown.cells.models import Cell
from teardown.findings.models import Decision, Judgement, ModeAssignment

GRADES = {"all": 0, "probable": 2, "confirmed": 3}
"""Choices of confidence in the address, and the least grade that each lets count."""

RANK = {"undetermined": 0, "possible": 1, "probable": 2, "confirmed": 3}


@dataclass(frozen=True, slots=True)
class Mode:
    """A failure mode as it is counted."""

    key: str
    words: str
    family: str
    order: int


@dataclass(frozen=True, slots=True)
class Verdict:
    """How one cell counts: under which modes, with which unsure, or not at all.

    ``modes`` count; ``unsure`` are modes named below the grade asked for. ``undetermined`` holds for the
    cell as a whole, ``disputed`` where its assessors name different roots and nobody decided; ``artefact``
    leaves it out of the question, since its test ended for a fault of the laboratory.
    """

    modes: frozenset[str] = frozenset()
    unsure: frozenset[str] = frozenset()
    undetermined: bool = False
    artefact: bool = False
    root: str = ""
    disputed: bool = False


@dataclass(frozen=True, slots=True)
class Assignment:
    """A row of a judgement, as fetched."""

    key: str
    role: str
    confidence: str
    artefact: bool
    closing: str


def verdicts_of(
    cells: QuerySet[Cell], *, contributing: bool, grade: str
) -> tuple[dict[int, Verdict], dict[str, Mode]]:
    """Work out how each judged cell counts: three questions, however many cells.

    Parameters
    ----------
    contributing : bool
        Count contributing modes beside the root.
    grade : str
        A key of ``GRADES``.
    """
    chosen, disputed = _chosen(cells)
    rows, modes = _assignments(cells)
    found = {
        cell: _verdict(rows.get(judgement, []), contributing, GRADES[grade])
        for cell, judgement in chosen.items()
    }
    roots = {pk: next((row.key for row in given if row.role == "root"), None) for pk, given in rows.items()}
    for cell, judgements in disputed.items():
        if len({roots.get(pk) for pk in judgements}) == 1:
            found[cell] = _verdict(rows.get(judgements[0], []), contributing, GRADES[grade])
        else:
            found[cell] = Verdict(undetermined=True, disputed=True)
    return found, modes


def _chosen(cells: QuerySet[Cell]) -> tuple[dict[int, int], dict[int, list[int]]]:
    """Give the judgement that counts for each cell, and those of cells where several stand undecided."""
    decided = dict(Decision.objects.latest_each().filter(cell__in=cells).values_list("cell_id", "outcome_id"))
    standing: dict[int, list[int]] = {}
    for pk, cell in Judgement.objects.standing().filter(cell__in=cells).values_list("pk", "cell_id"):
        standing.setdefault(cell, []).append(pk)
    open_ = {cell: pks for cell, pks in standing.items() if cell not in decided}
    alone = {cell: pks[0] for cell, pks in open_.items() if len(pks) == 1}
    return decided | alone, {cell: sorted(pks, reverse=True) for cell, pks in open_.items() if len(pks) > 1}


def _assignments(cells: QuerySet[Cell]) -> tuple[dict[int, list[Assignment]], dict[str, Mode]]:
    rows: dict[int, list[Assignment]] = {}
    modes: dict[str, Mode] = {}
    given = ModeAssignment.objects.filter(judgement__cell__in=cells, judgement__proposal=False).values_list(
        "judgement_id",
        "role",
        "confidence",
        "mode__key",
        "mode__words",
        "mode__family",
        "mode__order",
        "mode__data",
    )
    for judgement, role, confidence, key, words, family, order, data in given:
        closing = str(data.get("closing", ""))
        row = Assignment(key, role, confidence, bool(data.get("artefact")), closing)
        rows.setdefault(judgement, []).append(row)
        if closing != "undetermined":
            modes[key] = Mode(key, words, family, order)
    return rows, modes


def _verdict(rows: list[Assignment], contributing: bool, least: int) -> Verdict:
    root = next((row for row in rows if row.role == "root"), None)
    if root is not None and root.artefact:
        return Verdict(artefact=True)
    if root is not None and root.closing == "undetermined":
        return Verdict(undetermined=True)
    roles = {"root", "contributing"} if contributing else {"root"}
    counted = [row for row in rows if row.role in roles and not row.artefact]
    sure = frozenset(row.key for row in counted if RANK[row.confidence] >= max(least, 1))
    unsure = frozenset(row.key for row in counted) - sure
    root_unsure = root is None or root.key in unsure
    undetermined = root_unsure and (not contributing or not sure)
    return Verdict(sure, unsure, undetermined, root=root.key if root else "")
