"""The row of agreement: six comparisons between techniques, each with its formula and this cell's numbers."""

from dataclasses import dataclass
from typing import Literal

from teardown.science.balance.inputs import Inputs
from teardown.science.balance.trust import (
    CHARGE_PART,
    DELESSE_PART,
    ELECTRON_PART,
    HYDROXIDE_PART,
    IRON_PART,
    VOLUME_PART,
    Trust,
)

Verdict = Literal["agree", "look", "contradiction", "cannot tell"]

AGREE_WITHIN = 2.0
LOOK_WITHIN = 3.0


@dataclass(frozen=True, slots=True)
class Mark:
    """One comparison: what was found, what was expected, how far apart in combined uncertainties.

    ``z`` is (found - expected) / u; None where nothing can be compared. ``formula`` is in words and symbols,
    ``numbers`` the same with this cell's numbers in it.
    """

    key: str
    words: str
    verdict: Verdict
    found: float | None
    expected: float | None
    u: float | None
    z: float | None
    unit: str
    formula: str
    numbers: str
    assumptions: tuple[str, ...]
    sentence: str
    greyed: tuple[str, ...]


def marks_of(inputs: Inputs, values: dict[str, float], u: dict[str, float], trust: Trust) -> tuple[Mark, ...]:
    """Compare the techniques of one cell, in the fixed order iron, charge, pores, oxide, water, hydroxide."""
    return (
        _iron(inputs, values, u, trust),
        _charge(inputs, values, u, trust),
        _pores(inputs, values, u, trust),
        _oxide(inputs, values, u, trust),
        _water(inputs, values, u, trust),
        _hydroxide(inputs, values, u, trust),
    )


def verdict_of(z: float, *, may_contradict: bool = True) -> Verdict:
    """Turn a distance in combined uncertainties into a word."""
    if abs(z) <= AGREE_WITHIN:
        return "agree"
    if abs(z) <= LOOK_WITHIN or not may_contradict:
        return "look"
    return "contradiction"


def _iron(inputs: Inputs, values: dict[str, float], u: dict[str, float], trust: Trust) -> Mark:
    z = (values["closure"] - 1) / _above_zero(u["closure"])
    # iron may truly be shed, so too little asks for a look and only too much contradicts
    verdict = verdict_of(z, may_contradict=z > 0)
    built = inputs.built.iron_powder_g.value * inputs.built.purity.value
    sentence = {
        "agree": "All of the iron that was built in was found again.",
        "look": "Iron is missing: shed, sampled away, not all weighed, or in a phase that was not seen.",
        "contradiction": "More iron was found than was built in.",
    }[verdict if z < 0 or verdict == "agree" else "contradiction"]
    return Mark(
        key="iron",
        words="Iron",
        verdict=verdict,
        found=values["closure"],
        expected=1.0,
        u=u["closure"],
        z=z,
        unit="1",
        formula="iron found / built in = (dry mass − inert) × Σ fraction × iron share / (powder × purity)",
        numbers=f"{values['closure'] * built:.4f} g / {built:.4f} g = {values['closure']:.4f}",
        assumptions=("The powder stands for the whole electrode.", "Inert material was recovered whole."),
        sentence=sentence,
        greyed=trust.reasons.get(IRON_PART, ()),
    )


def _charge(inputs: Inputs, values: dict[str, float], u: dict[str, float], trust: Trust) -> Mark:
    spent = inputs.history.last_Ah.value if inputs.history.state != "charged" else 0.0
    lost = inputs.recovered.rest_Ah.value + inputs.recovered.drying_Ah.value
    z = values["locked_Ah"] / _above_zero(u["locked_Ah"])
    verdict: Verdict = "cannot tell" if trust.locked_is_bound else verdict_of(min(z, 0.0))
    sentence = {
        "agree": "There is at least as much oxide as the last discharge must have made.",
        "look": "There may be less oxide than the last discharge must have made.",
        "contradiction": "There is less oxide than the last discharge must have made.",
        "cannot tell": f"Locked charge lies between 0 and {values['oxide_Ah']:.3f} Ah.",
    }[verdict]
    return Mark(
        key="charge",
        words="Charge in oxide",
        verdict=verdict,
        found=values["oxide_Ah"],
        expected=spent + lost,
        u=u["locked_Ah"],
        z=z,
        unit="Ah",
        formula="locked charge = Σ mass × charge to metal − last discharge − rest − drying − conversion",
        numbers=f"{values['oxide_Ah']:.4f} − {spent:.4f} − {lost:.4f} = {values['locked_Ah']:.4f} Ah",
        assumptions=(
            "Oxide before the last discharge was locked.",
            "Iron in each phase has its usual charge.",
        ),
        sentence=sentence,
        greyed=trust.reasons.get(CHARGE_PART, ()),
    )


def _pores(inputs: Inputs, values: dict[str, float], u: dict[str, float], trust: Trust) -> Mark:
    sections = inputs.sections
    seen = sections.porosity if sections else None
    return _against_image(
        "pores",
        "Pores",
        None if seen is None else (seen.value, seen.u),
        _pair(values, u, "image_porosity"),
        sections.number if sections else 0,
        formula="pores seen = 1 − (Σ mass / density + inert) / (area × thickness) + binder and carbon",
        assumptions=("Binder and carbon look like pore in the image.", "Dried salts fill no pores."),
        more="The image holds more pore than the solids leave: gel lost in drying, pull-out, or cracks.",
        less="The image holds less pore than the solids leave: pores too fine to see, or salt or resin.",
        greyed=trust.reasons.get(VOLUME_PART, ()),
    )


def _oxide(inputs: Inputs, values: dict[str, float], u: dict[str, float], trust: Trust) -> Mark:
    sections = inputs.sections
    seen = sections.oxide if sections else None
    return _against_image(
        "oxide",
        "Oxide in the section",
        None if seen is None else (seen.value, seen.u),
        _pair(values, u, "oxide_volume_share"),
        sections.number if sections else 0,
        formula="area fraction = volume fraction (Delesse) = Σ oxide mass / density / (area × thickness)",
        assumptions=(
            "Sections lie at random through the thickness.",
            "Hydrous oxide is as dense as its crystal.",
        ),
        more="The image holds more oxide than diffraction: oxide that does not diffract, or is less dense.",
        less="The image holds less oxide than diffraction: thin films below the pixel, or an uneven sample.",
        greyed=trust.reasons.get(DELESSE_PART, ()),
    )


def _against_image(
    key: str,
    words: str,
    seen: tuple[float, float] | None,
    expected: tuple[float, float] | None,
    sections: int,
    *,
    formula: str,
    assumptions: tuple[str, ...],
    more: str,
    less: str,
    greyed: tuple[str, ...],
) -> Mark:
    if seen is None or expected is None:
        lacking = "No section was measured." if seen is None else "The thickness at teardown is missing."
        return Mark(
            key, words, "cannot tell", seen and seen[0], expected and expected[0], None, None, "1",
            formula, "", assumptions, lacking, greyed,
        )  # fmt: skip
    u = (seen[1] ** 2 + expected[1] ** 2) ** 0.5
    z = (seen[0] - expected[0]) / _above_zero(u)
    verdict = verdict_of(z, may_contradict=sections >= 2)
    sentence = "The image and the weighed solids agree." if verdict == "agree" else more if z > 0 else less
    if sections < 2 and verdict == "look":
        sentence += " One section alone declares no contradiction."
    numbers = f"image {seen[0]:.3f} ± {seen[1]:.3f}, expected {expected[0]:.3f} ± {expected[1]:.3f}"
    return Mark(
        key, words, verdict, seen[0], expected[0], u, z, "1", formula, numbers, assumptions, sentence, greyed
    )


def _water(inputs: Inputs, values: dict[str, float], u: dict[str, float], trust: Trust) -> Mark:
    formula = "water bound = 18.015 × (parasitic charge / 2F + hydrogen in solids / 2 − carbonate formed)"
    assumptions = ("All charge that did not come back made hydrogen.", "No electrolyte leaked.")
    greyed = trust.reasons.get(ELECTRON_PART, ())
    if inputs.water is None:
        return Mark(
            "water", "Water", "cannot tell", None, values["water_bound_g"], None, None, "g",
            formula, f"water bound {values['water_bound_g']:.2f} g", assumptions,
            "The water lost is not known.", greyed,
        )  # fmt: skip
    z = values["evaporated_g"] / _above_zero(u["evaporated_g"])
    verdict = verdict_of(min(z, 0.0))
    sentence = {
        "agree": "Enough water was lost for the hydrogen that must have been made.",
        "look": "Hardly enough water was lost for the hydrogen that must have been made.",
        "contradiction": "Less water was lost than the hydrogen must have taken.",
    }[verdict]
    lost, weighed = inputs.water.lost_g.value, inputs.water.weighed
    taken = values["hydrogen_g"] if weighed else values["water_bound_g"]
    if weighed:
        formula = "vapour = built − received + gas taken up − hydrogen (parasitic charge × 0.0376 g/Ah)"
    return Mark(
        key="water",
        words="Water",
        verdict=verdict,
        found=lost,
        expected=taken,
        u=u["evaporated_g"],
        z=z,
        unit="g",
        formula=formula,
        numbers=f"{lost:.2f} g lost − {taken:.2f} g {'as hydrogen' if weighed else 'bound'}"
        f" = {values['evaporated_g']:.2f} g to the air",
        assumptions=assumptions,
        sentence=sentence,
        greyed=greyed,
    )


def _hydroxide(inputs: Inputs, values: dict[str, float], u: dict[str, float], trust: Trust) -> Mark:
    """Too little hydroxide contradicts; more than the last discharge made was there before it."""
    least, found = values["hydroxide_least_mol"], values["hydroxide_mol"]
    doubt = (u["hydroxide_mol"] ** 2 + u["hydroxide_least_mol"] ** 2) ** 0.5
    z = (found - least) / _above_zero(doubt)
    verdict: Verdict = "cannot tell" if trust.locked_is_bound else verdict_of(min(z, 0.0))
    sentence = {
        "agree": "The hydroxide that the last discharge made was found.",
        "look": "There may be less hydroxide than the last discharge made.",
        "contradiction": "There is less hydroxide than the last discharge made.",
        "cannot tell": "The state of charge is not known, so no hydroxide can be expected.",
    }[verdict]
    if verdict == "agree" and found - values["hydroxide_most_mol"] > AGREE_WITHIN * doubt:
        sentence = "There is more hydroxide than the last discharge made: some was there before and stayed."
    return Mark(
        key="hydroxide",
        words="Hydroxide",
        verdict=verdict,
        found=found,
        expected=least,
        u=doubt,
        z=z,
        unit="mol",
        formula="hydroxide made ≥ (first plateau + rest) / 2F − 3 × second plateau / 2F",
        numbers=f"found {1e3 * found:.2f} mmol, made {1e3 * least:.2f} (second plateau to magnetite) to"
        f" {1e3 * values['hydroxide_most_mol']:.2f} mmol (to feroxyhyte)",
        assumptions=("The plateaus can be told apart.", "Nothing oxidised in air."),
        sentence=sentence,
        greyed=trust.reasons.get(HYDROXIDE_PART, ()),
    )


def _pair(values: dict[str, float], u: dict[str, float], name: str) -> tuple[float, float] | None:
    return (values[name], u[name]) if name in values else None


def _above_zero(u: float) -> float:
    return max(u, 1e-12)
