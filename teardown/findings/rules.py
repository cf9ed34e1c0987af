"""Pure rules of findings: what kind a piece of evidence is, and what a judgement must hold."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

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


NO_SOURCE = "common practice, no source"
HERE = "the page of the balance"
Shape = Literal["value", "range", "doubt"]


@dataclass(frozen=True, slots=True)
class Usual:
    """What a balance takes where nothing was measured or said.

    ``shape`` tells how it is drawn: a value with its standard uncertainty, anywhere within a range, or a mere
    uncertainty of something that was measured. For a range ``value`` is its middle and ``doubt`` half of it.
    ``mend`` says where the better knowledge is asked for.
    """

    key: str
    words: str
    unit: str
    shape: Shape
    value: float
    doubt: float
    source: str
    mend: str
    least: float = 0.0
    most: float = 1e9

    def said(self, value: float, doubt: float) -> str:
        """Set a value as a reader takes it: "99.5 ± 0.3 %", "0 to 1 % a day", "± 4 mg"."""
        times, unit = (100.0, "%") if self.unit.startswith("%") else (1.0, self.unit)
        unit = self.unit if self.unit.startswith("%") else unit
        a, b = value * times, doubt * times
        if self.shape == "range":
            return f"{_short(a - b)} to {_short(a + b)} {unit}"
        return f"{'' if self.shape == 'doubt' else _short(a) + ' '}± {_short(b)} {unit}"


def _short(number: float) -> str:
    return f"{round(number, 9) + 0.0:.4g}"


# fmt: off
USUAL: dict[str, Usual] = {each.key: each for each in (
    Usual("purity", "purity of the iron", "%", "value", 0.995, 0.003, NO_SOURCE,
          "the lot of the iron: purity and its uncertainty; or the page of the balance", 0.5, 1.0),
    Usual("inert_density", "density of binder, carbon and additive", "g/cm³", "value", 2.2, 0.1,
          "from memory: PTFE 2.1 to 2.3, carbon black 1.8 to 2.1", HERE, 0.5, 12.0),
    Usual("rest", "charge lost at rest after the test, of the last capacity", "% a day", "value",
          0.005, 0.0025, NO_SOURCE,
          "the cycling history: a long rest between a charge and a discharge; or the page of the balance",
          0.0, 0.5),
    Usual("converted", "hydroxide of the last discharge that turns into magnetite at rest", "% a day",
          "range", 0.005, 0.005, NO_SOURCE, HERE, 0.0, 1.0),
    Usual("drying", "iron oxidised by drying in air, of the last capacity", "%", "value", 0.02, 0.02,
          NO_SOURCE, "the bench: dry without air; or the page of the balance", 0.0, 1.0),
    Usual("hydrous", "water held by the hydroxide, of its mass", "%", "doubt", 0.0, 0.02, NO_SOURCE,
          HERE, 0.0, 0.5),
    Usual("amorphous", "amorphous share, like ferrous hydroxide", "%", "range", 0.075, 0.075, NO_SOURCE,
          "diffraction: add an internal standard; or the page of the balance", 0.0, 0.9),
    Usual("grain", "diameter of the grains of the powder", "µm", "range", 2.55, 2.45, NO_SOURCE,
          "diffraction: grain diameter of the pattern; or the page of the balance", 0.01, 200.0),
    Usual("plateau", "charge of a plateau that no reference electrode told apart", "%", "doubt", 0.0, 0.05,
          NO_SOURCE, "the recipe: a reference electrode; or the page of the balance", 0.0, 1.0),
    Usual("channel", "net charge of the cycler's channel, of all charge", "%", "doubt", 0.0, 0.003,
          NO_SOURCE, "the channel: its range and accuracy; or the page of the balance", 0.0, 1.0),
    Usual("charge", "charge of a cycle", "%", "doubt", 0.0, 0.003, NO_SOURCE, HERE, 0.0, 1.0),
    Usual("iron_mass", "iron weighed in", "g", "doubt", 0.0, 0.002, NO_SOURCE,
          "the cell: uncertainty of its iron mass; or the page of the balance", 0.0, 10.0),
    Usual("dry_mass", "dry mass of the electrode", "g", "doubt", 0.0, 0.004, NO_SOURCE,
          "the bench: name the balance, or its uncertainty; or the page of the balance", 0.0, 10.0),
    Usual("area", "area of the electrode", "%", "doubt", 0.0, 0.005, NO_SOURCE, HERE, 0.0, 1.0),
    Usual("thickness", "thickness at teardown, at the least", "%", "doubt", 0.0, 0.015, NO_SOURCE,
          "the bench: measure it at more places; or the page of the balance", 0.0, 1.0),
    Usual("fraction", "a phase fraction without an uncertainty of its own", "%", "doubt", 0.0, 0.015,
          NO_SOURCE, "diffraction: give the e.s.d. with the fraction; or the page of the balance", 0.0, 1.0),
)}
# fmt: on
"""Every default of a balance. Each has a field on the page of the balance."""


def faults_of_stated(usual: Usual, value: float, doubt: float) -> list[str]:
    """Say what cannot be in a statement about a cell, in one sentence each."""
    if doubt < 0:
        return ["An uncertainty is not below zero."]
    low, high = (value - doubt, value + doubt) if usual.shape == "range" else (value, value)
    if usual.shape == "doubt":
        low = high = doubt
    if low < usual.least - 1e-12 or high > usual.most + 1e-12:
        at = replace(usual, shape="range").said(
            (usual.least + usual.most) / 2, (usual.most - usual.least) / 2
        )
        return [f"The {usual.words} lies within {at}."]
    return []
