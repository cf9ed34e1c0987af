"""Pure rules of findings: what kind a piece of evidence is, and what a judgement must hold."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from teardown.science.reliability.evidence import Confidence, Grounds, Kind, Piece, grounds_of

OF_THING = {
    "photograph": Kind.OBSERVATION,
    "field_measure": Kind.IMAGE,
    "sample_measure": Kind.IMAGE,
    "phase": Kind.DIFFRACTION,
    "test_summary": Kind.CYCLING,
    "balance": Kind.MASS,
}
OF_KEY = {
    "titration.": Kind.TITRATION,
    "intervention.": Kind.INTERVENTION,
    "electrolyte.density": Kind.TITRATION,
}
OF_QUANTITY = {"mass": Kind.MASS, "resistance": Kind.IMPEDANCE}
SEVERITIES = {
    1: "negligible: no measurable change",
    2: "minor: under a tenth of the loss",
    3: "substantial: a tenth to a half of the loss",
    4: "dominant: more than half of the loss",
    5: "terminal or unsafe: short, leak, gas",
}


def kind_of_entry(key: str, data: Mapping[str, Any]) -> Kind:
    """Tell what kind of evidence an entry is, from its term; looking, where nothing says otherwise."""
    if "evidence" in data:
        return Kind(data["evidence"])
    for start, kind in OF_KEY.items():
        if key.startswith(start):
            return kind
    return OF_QUANTITY.get(str(data.get("quantity", "")), Kind.OBSERVATION)


@dataclass(frozen=True, slots=True)
class Claim:
    """One mode of a judgement as it is about to be given, reduced to what the rules look at.

    ``closing`` is "undetermined", "no fault" or "other" for the words that close a case without a mode.
    """

    words: str
    role: str
    confidence: str
    pieces: tuple[Piece, ...] = ()
    closing: str = ""
    said: str = ""
    faults: tuple[str, ...] = field(default=())

    @property
    def grounds(self) -> Grounds:
        """Give what the evidence holds up."""
        return grounds_of(self.pieces)


def faults_of_claim(claim: Claim) -> list[str]:
    """Say what is wrong with one mode of a judgement, in whole sentences; an empty list if nothing is."""
    if claim.closing in ("undetermined", "no fault"):
        return _faults_of_closing(claim)
    faults = list(claim.faults)
    if claim.closing == "other" and not claim.said.strip():
        faults.append("Other: say in words what it is.")
    claimed, grounds = Confidence(claim.confidence), claim.grounds
    if claim.role == "root" and not grounds.kinds_for:
        faults.append(f"{claim.words}: the root rests on at least one piece of evidence. Point at it.")
    elif not grounds.allows(claimed):
        missing = " and ".join(grounds.missing[claimed])
        faults.append(
            f"{claim.words}: the evidence holds up “{grounds.highest}”. For “{claimed}” it lacks {missing}."
        )
    return faults


def _faults_of_closing(claim: Claim) -> list[str]:
    if claim.closing == "no fault":
        return []
    if claim.confidence != Confidence.UNDETERMINED:
        return ["Undetermined: nothing can be confirmed, probable or possible about it. Choose undetermined."]
    return (
        [] if claim.said.strip() else ["Undetermined: say whether evidence is missing or contradicts itself."]
    )


def faults_of_judgement(claims: list[Claim]) -> list[str]:
    """Say what is wrong with a judgement as a whole and with each of its modes."""
    if not claims:
        return ["Choose at least one mode; “undetermined” and “no fault found” are modes too."]
    words = [claim.words for claim in claims]
    twice = sorted({each for each in words if words.count(each) > 1})
    faults = [f"{each} was chosen twice: give it one role." for each in twice]
    roots = [claim for claim in claims if claim.role == "root"]
    if len(roots) > 1:
        faults.append(f"One root at most: {' and '.join(claim.words for claim in roots)} are both root.")
    if not roots and any(claim.role == "consequence" for claim in claims):
        faults.append("A consequence follows from the root of its judgement: name the root.")
    closed = [claim for claim in claims if claim.closing in ("undetermined", "no fault")]
    if closed and closed[0].role != "root":
        faults.append(f"{closed[0].words} closes the case: make it the root.")
    for claim in claims:
        faults.extend(faults_of_claim(claim))
    return faults
