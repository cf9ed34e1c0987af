"""How sure a judged failure mode may be called, given what it rests on.

The rule only checks: it says which grade the evidence holds up and what is missing for the next. It never
raises a grade by itself; that is the assessor's to say.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum


class Kind(StrEnum):
    """Where a piece of evidence comes from; pieces of one kind are not independent."""

    OBSERVATION = "observation"
    IMAGE = "image measure"
    DIFFRACTION = "diffraction"
    COMPOSITION = "element analysis"
    CYCLING = "cycling"
    IMPEDANCE = "impedance"
    MASS = "weighing"
    TITRATION = "titration"
    INTERVENTION = "intervention"


MEASURED = frozenset(Kind) - {Kind.OBSERVATION}
"""Kinds that are measurements; looking is not one."""


class Confidence(StrEnum):
    """The four grades of a judgement."""

    CONFIRMED = "confirmed"
    PROBABLE = "probable"
    POSSIBLE = "possible"
    UNDETERMINED = "undetermined"


RANK = {grade: place for place, grade in enumerate(reversed(Confidence))}


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece of evidence: its kind, and whether it speaks for the mode or against it."""

    kind: Kind
    speaks_for: bool


@dataclass(frozen=True, slots=True)
class Grounds:
    """What the evidence holds up: the highest grade it allows, and what each higher grade lacks."""

    highest: Confidence
    kinds_for: tuple[Kind, ...]
    kinds_against: tuple[Kind, ...]
    missing: dict[Confidence, tuple[str, ...]]

    def allows(self, claimed: Confidence) -> bool:
        """Tell whether a claimed grade is no higher than the evidence holds up."""
        return RANK[claimed] <= RANK[self.highest]


def grounds_of(pieces: Iterable[Piece]) -> Grounds:
    """Check what grade the evidence for a mode holds up.

    Confirmed: an intervention, or two independent kinds of measurement, speak for the mode and none
    against. Probable: two kinds, looking included, speak for it and none against. Possible: one kind speaks
    for it, or a contradiction stands. Undetermined needs no evidence.
    """
    given = list(pieces)
    for_, against = _kinds(given, speaks_for=True), _kinds(given, speaks_for=False)
    missing: dict[Confidence, tuple[str, ...]] = {}
    if lacks := _lacks_confirmed(for_, against):
        missing[Confidence.CONFIRMED] = lacks
    if lacks := _lacks_probable(for_, against):
        missing[Confidence.PROBABLE] = lacks
    if not for_:
        missing[Confidence.POSSIBLE] = ("one piece of evidence that speaks for the mode",)
    highest = next(grade for grade in Confidence if grade not in missing)
    return Grounds(highest, for_, against, missing)


def _kinds(pieces: list[Piece], *, speaks_for: bool) -> tuple[Kind, ...]:
    found = {piece.kind for piece in pieces if piece.speaks_for is speaks_for}
    return tuple(kind for kind in Kind if kind in found)


def _lacks_confirmed(for_: tuple[Kind, ...], against: tuple[Kind, ...]) -> tuple[str, ...]:
    lacks = []
    measured = [kind for kind in for_ if kind in MEASURED]
    if Kind.INTERVENTION not in for_ and len(measured) < 2:
        if measured:
            lacks.append(f"a second kind of measurement besides {measured[0]}, or an intervention")
        else:
            lacks.append("two independent kinds of measurement that agree, or an intervention")
    return (*lacks, *_contradiction(against))


def _lacks_probable(for_: tuple[Kind, ...], against: tuple[Kind, ...]) -> tuple[str, ...]:
    lacks = []
    if Kind.INTERVENTION not in for_ and len(for_) < 2:
        lacks.append(
            f"a second kind of evidence besides {for_[0]}" if for_ else "two kinds of evidence that agree"
        )
    return (*lacks, *_contradiction(against))


def _contradiction(against: tuple[Kind, ...]) -> tuple[str, ...]:
    if not against:
        return ()
    return (f"an answer to what speaks against it: {', '.join(against)}",)
