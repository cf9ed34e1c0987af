"""Which parts of the balance may be shown, and why not where they may not."""

from dataclasses import dataclass

from teardown.science.balance.inputs import Inputs

IRON_PART = "iron"
CHARGE_PART = "oxide"
VOLUME_PART = "porosity"
DELESSE_PART = "oxide volume"
ELECTRON_PART = "electrons"
HYDROXIDE_PART = "hydroxide"
LEDGER_PART = "ledger"

GRAIN_LIMIT_UM = 1.0
"""Grains beyond this hide iron from a copper tube by more than the balance can bear."""


@dataclass(frozen=True, slots=True)
class Trust:
    """For each part of the balance, the reasons why it is shown greyed; no entry means that it stands.

    ``locked_is_bound`` tells that the state of charge is unknown, so that locked charge is only bounded by
    nothing and by all of the oxide.
    """

    reasons: dict[str, tuple[str, ...]]
    locked_is_bound: bool

    def stands(self, part: str) -> bool:
        """Tell whether a part of the balance may be shown plainly."""
        return not self.reasons.get(part)


def hidden_iron(inputs: Inputs) -> bool:
    """Tell whether grain size may have hidden metal from a copper tube, uncorrected."""
    powder = inputs.powder
    metal = any(
        solid.part == "metal" and fraction > 0
        for solid, fraction in zip(powder.solids, powder.fractions, strict=True)
    )
    if powder.tube != "cu" or powder.corrected or not metal:
        return False
    if powder.grain_um is None or not powder.grain_told:
        return True
    return powder.grain_um[1] > GRAIN_LIMIT_UM


def trust_of(inputs: Inputs) -> Trust:
    """Go through the conditions that make a part of the balance invalid."""
    iron, volume, delesse, electrons, hydroxide = [], [], [], [], []
    powder, handling, sections = inputs.powder, inputs.handling, inputs.sections
    if not handling.whole_electrode_weighed:
        iron.append("The whole electrode was not weighed, so iron may be missing on paper only.")
    if powder.taken_from != "whole electrode":
        iron.append(_place(powder.taken_from))
    if hidden_iron(inputs):
        known = powder.grain_um if powder.grain_told else None
        size = "unknown size" if known is None else f"up to {known[1]:g} µm"
        iron.append(
            f"Metal grains of {size} hide iron from a copper tube; cobalt or molybdenum would see it."
        )
    volume.extend(iron)
    delesse.extend(iron)
    hydroxide.extend(iron)
    if inputs.recovered.thickness_um is None:
        missing = "The thickness was not measured at teardown, so the volume is not known."
        volume.append(missing)
        delesse.append(missing)
    if sections is not None and not sections.full_thickness:
        delesse.append("The fields do not run through the full thickness of the electrode.")
    if handling.leaked:
        electrons.append("Electrolyte leaked, so the water does not close.")
    charge = list(iron)
    unknown = inputs.history.state is None
    if unknown:
        charge.append("The state of charge at teardown is not known: locked charge is only bounded.")
        hydroxide.append("The state of charge at teardown is not known.")
    ledger = [*iron, *charge[len(iron) :]]
    parts = {
        IRON_PART: iron,
        CHARGE_PART: charge,
        VOLUME_PART: volume,
        DELESSE_PART: delesse,
        ELECTRON_PART: electrons,
        HYDROXIDE_PART: hydroxide,
        LEDGER_PART: ledger,
    }
    return Trust({part: tuple(why) for part, why in parts.items() if why}, unknown)


def _place(taken_from: str) -> str:
    if taken_from == "not known":
        return "It is not known whether the powder was the whole electrode ground up."
    where = "the surface" if taken_from == "surface" else "one place"
    return f"The powder came from {where}, not from the whole electrode ground up."
