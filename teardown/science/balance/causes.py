"""Flags: what does not add up, which causes it could have, and the check that decides between them.

Faults share signatures (a wet mass, unseen salt and a collector weighed in all look like too much iron), so a
flag names a set of at most three causes, never one.
"""

from collections.abc import Callable
from dataclasses import dataclass

from teardown.science.balance.inputs import Inputs
from teardown.science.balance.trust import Trust, hidden_iron
from teardown.science.errors import Level, Remark

WRONG_CELL = "the masses or the history belong to another cell"
WET_MASS = "the electrode was weighed wet"
SALT_LEFT = "salt of the electrolyte was left in"
COLLECTOR = "the collector was weighed in"
SURFACE = "the powder came from the surface or from one place"
AIR = "the electrode oxidised in air after opening"
WRONG_STATE = "the state of charge was recorded wrongly"
NO_THICKNESS = "the thickness was not measured at teardown"
UNIT = "a value was entered in the wrong unit"
MICROABSORPTION = "coarse metal grains hid iron from the X-rays"
SHED = "iron was shed or not all was weighed"
UNSEEN = "amorphous hydroxide was not seen by diffraction"
SELF_MADE_MAGNETITE = "hydroxide turned into magnetite at rest"
LEAK = "electrolyte leaked or condensed water was counted"
FINE_PORES = "pores finer than the pixel, or resin or salt taken for solid"
PULL_OUT = "grains pulled out in polishing, or cracks counted as pores"


@dataclass(frozen=True, slots=True)
class Flag:
    """One thing that does not add up, with its possible causes and the check that decides."""

    remark: Remark
    causes: tuple[str, ...]
    decides: str

    def __post_init__(self) -> None:
        """Hold the set of causes small enough to act on."""
        assert 1 <= len(self.causes) <= 3


@dataclass(frozen=True, slots=True)
class _Case:
    """What the rules look at."""

    inputs: Inputs
    values: dict[str, float]
    u: dict[str, float]
    trust: Trust

    def beyond(self, name: str, edge: float = 0.0) -> float:
        """Give (value - edge) / u."""
        return (self.values[name] - edge) / max(self.u[name], 1e-12)

    def fraction(self, *parts: str) -> float:
        powder = self.inputs.powder
        return sum(
            float(w) for w, s in zip(powder.fractions, powder.solids, strict=True) if s.part in parts
        ) / float(powder.fractions.sum())

    def oxyhydroxide(self) -> float:
        powder = self.inputs.powder
        return sum(float(w) for w, s in zip(powder.fractions, powder.solids, strict=True) if s.oxyhydroxide)


def flags_of(inputs: Inputs, values: dict[str, float], u: dict[str, float], trust: Trust) -> tuple[Flag, ...]:
    """Go through every rule, the coarse ones first."""
    case = _Case(inputs, values, u, trust)
    found = (rule(case) for rule in RULES)
    return tuple(flag for flag in found if flag is not None)


def _flag(
    code: str, level: Level, message: str, causes: tuple[str, ...], decides: str, value: float | None = None
) -> Flag:
    return Flag(Remark(f"balance.{code}", level, message, value, remedy=decides), causes, decides)


def _out_of_scale(case: _Case) -> Flag | None:
    """A factor of ten or more somewhere cannot be chemistry."""
    closure, use = case.values["closure"], case.values["utilisation"]
    porosity = case.values.get("porosity", 0.5)
    parasitic = case.values["parasitic_share"]
    wild = (
        not 0.4 < closure < 2.5
        or not 0.004 < use < 1.34
        or not -0.5 < porosity < 0.99
        or not -0.5 < parasitic < 1.0
    )
    if not wild:
        return None
    return _flag(
        "W001",
        "error",
        f"The numbers are out of scale: {closure:.3g} of the iron found, {use:.3g} of it used,"
        f" porosity {porosity:.3g}.",
        (UNIT, WRONG_CELL),
        "Compare each mass, length and charge with its unit on the sheet where it was first written.",
        closure,
    )


def _too_much_iron(case: _Case) -> Flag | None:
    if case.beyond("closure", 1.0) <= 2:
        return None
    closure = case.values["closure"]
    far = closure > 1.3
    return _flag(
        "W002",
        "error" if case.beyond("closure", 1.0) > 3 else "warning",
        f"{100 * closure:.1f} % of the iron built in was found: more than there was.",
        (WRONG_CELL, WET_MASS, COLLECTOR) if far else (WET_MASS, SALT_LEFT, COLLECTOR),
        "Compare the label and the build sheet of the cell, then dry and weigh again."
        if far
        else "Dry to constant mass and weigh again; then rinse, dry and weigh, and look for potassium lines.",
        closure,
    )


def _too_little_iron(case: _Case) -> Flag | None:
    if case.beyond("closure", 1.0) >= -2:
        return None
    closure = case.values["closure"]
    if closure < 0.75:
        causes, decides = (WRONG_CELL, SHED, UNSEEN), "Compare label and build sheet, and weigh every scrap."
    elif hidden_iron(case.inputs):
        causes = (MICROABSORPTION, SHED, UNSEEN)
        decides = "Scan again with a cobalt or molybdenum tube, or weigh the sediment."
    else:
        causes = (SHED, UNSEEN, SURFACE)
        decides = "Weigh the sediment and the scraps; scan the ground rest with an internal standard."
    return _flag(
        "W003", "warning", f"{100 * closure:.1f} % of the iron built in was found.", causes, decides, closure
    )


def _too_little_oxide(case: _Case) -> Flag | None:
    if case.trust.locked_is_bound or case.beyond("locked_Ah") >= -2:
        return None
    return _flag(
        "W004",
        "error",
        f"There is {-case.values['locked_Ah']:.3f} Ah less oxide than the last discharge must have made.",
        (WRONG_STATE, UNSEEN, SURFACE),
        "Compare the last step of the cycling history with the voltage at opening; scan with a standard.",
        case.values["locked_Ah"],
    )


def _state_differs(case: _Case) -> Flag | None:
    recorded, cycled = case.inputs.handling.state_recorded, case.inputs.history.state
    if recorded is None or cycled is None or recorded == cycled:
        return None
    return _flag(
        "W005",
        "error",
        f"The bench recorded the cell as {recorded}, the cycling history ends {cycled}.",
        (WRONG_STATE, WRONG_CELL),
        "Compare the last step of the cycling history with the voltage at opening.",
    )


def _too_little_hydroxide(case: _Case) -> Flag | None:
    values, u = case.values, case.u
    doubt = (u["hydroxide_mol"] ** 2 + u["hydroxide_least_mol"] ** 2) ** 0.5
    lacking = values["hydroxide_least_mol"] - values["hydroxide_mol"]
    if case.trust.locked_is_bound or lacking <= 2 * doubt:
        return None
    aired = case.oxyhydroxide() > 0.02 or case.inputs.handling.dried_in_air
    return _flag(
        "W006",
        "warning",
        f"{1e3 * lacking:.2f} mmol of hydroxide that the last discharge made were not found.",
        (AIR, SELF_MADE_MAGNETITE, UNSEEN) if aired else (WRONG_STATE, SELF_MADE_MAGNETITE, UNSEEN),
        "Scan a strip that was dried without air, and look for brown colour and oxyhydroxide lines."
        if aired
        else "Compare the voltage at opening with the last step of the history, and the hours at rest.",
        -lacking,
    )


def _oxidised_in_air(case: _Case) -> Flag | None:
    share = case.oxyhydroxide()
    if share <= 0.02 and not case.inputs.handling.dried_in_air:
        return None
    return _flag(
        "W007",
        "warning",
        f"Oxyhydroxide makes {100 * share:.1f} % of the powder: oxide made after opening reads as locked."
        if share > 0.02
        else "The electrode was dried in air: oxide made after opening reads as locked.",
        (AIR, WRONG_STATE),
        "Compare with a strip that was dried without air.",
        share,
    )


def _salt(case: _Case) -> Flag | None:
    share = case.fraction("salt")
    if share <= 0.03:
        return None
    return _flag(
        "W008",
        "warning",
        f"Salt makes {100 * share:.1f} % of the powder; it weighs, thins the other phases and fills pores.",
        (SALT_LEFT,),
        "Rinse, dry, weigh and scan a part of the rest again.",
        share,
    )


def _surface_powder(case: _Case) -> Flag | None:
    taken = case.inputs.powder.taken_from
    if taken == "whole electrode":
        return None
    where = {"surface": "came from the surface", "one place": "came from one place"}.get(taken)
    return _flag(
        "W009",
        "error" if taken == "surface" else "warning",
        f"The powder {where} of the electrode." if where else "Where the powder came from is not known.",
        (SURFACE,),
        "Grind and scan the rest of the electrode.",
    )


def _microabsorption(case: _Case) -> Flag | None:
    if not hidden_iron(case.inputs):
        return None
    grain = case.inputs.powder.grain_um
    size = "unknown size" if grain is None else f"{grain[0]:g} to {grain[1]:g} µm"
    return _flag(
        "W010",
        "warning",
        f"Metal grains of {size} were scanned with a copper tube: iron may be found too low.",
        (MICROABSORPTION,),
        "Scan again with a cobalt or molybdenum tube, or measure the grains and correct the fractions.",
    )


def _no_thickness(case: _Case) -> Flag | None:
    if case.inputs.recovered.thickness_um is not None:
        return None
    return _flag(
        "W011",
        "warning",
        "The thickness at teardown is missing, so pores and oxide cannot be compared with the image.",
        (NO_THICKNESS,),
        "Measure the archived strip, or take the thickness from a full cross section.",
    )


def _water_short(case: _Case) -> Flag | None:
    if "evaporated_g" not in case.values or case.beyond("evaporated_g") >= -2:
        return None
    return _flag(
        "W012",
        "warning",
        f"{-case.values['evaporated_g']:.2f} g less water was lost than the hydrogen must have taken.",
        (LEAK, UNIT, WRONG_CELL),
        "Compare the charge offset of the channel, the water added, and the cell's weighings.",
        case.values["evaporated_g"],
    )


def _pores_apart(case: _Case) -> Flag | None:
    sections = case.inputs.sections
    if sections is None or sections.porosity is None or "image_porosity" not in case.values:
        return None
    away = sections.porosity.value - case.values["image_porosity"]
    z = away / max((sections.porosity.u**2 + case.u["image_porosity"] ** 2) ** 0.5, 1e-12)
    if abs(z) <= 2:
        return None
    excess = case.beyond("closure", 1.0) > 2
    return _flag(
        "W013",
        "error" if abs(z) > 3 and sections.number >= 2 else "warning",
        f"The image holds {100 * abs(away):.1f} % {'more' if away > 0 else 'less'} pore than expected.",
        (WET_MASS, SALT_LEFT, COLLECTOR)
        if away > 0 and excess
        else (PULL_OUT, UNSEEN)
        if away > 0
        else (FINE_PORES, UNIT),
        "Look at the section at a higher magnification, and measure the thickness again.",
        z,
    )


RULES: tuple[Callable[[_Case], Flag | None], ...] = (
    _out_of_scale,
    _state_differs,
    _too_much_iron,
    _too_little_iron,
    _too_little_oxide,
    _too_little_hydroxide,
    _oxidised_in_air,
    _salt,
    _surface_powder,
    _microabsorption,
    _no_thickness,
    _pores_apart,
    _water_short,
)
