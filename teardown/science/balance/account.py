"""The arithmetic of the balance, once, for single numbers, for draws and for dual numbers alike.

Nothing here clips, chooses or rounds: it only adds, subtracts, multiplies and divides. A ``Number`` is a
float, an array of draws, or anything else that does arithmetic.
"""

from dataclasses import dataclass
from typing import Any

from teardown.science.balance.solids import Solid
from teardown.science.constants import ATOMIC_WEIGHT, FARADAY_Ah_PER_MOL, HYDROGEN_G_PER_Ah, molar_mass_g

Number = Any
F = FARADAY_Ah_PER_MOL
WATER_G_PER_MOL = molar_mass_g("H2O")


@dataclass(frozen=True, slots=True)
class Values:
    """One value (or one array of draws) of every input; ``fractions`` and ``densities`` one a solid.

    ``discharged`` is 1 for a cell opened discharged, 0 for one opened charged.
    """

    solids: tuple[Solid, ...]
    fractions: tuple[Number, ...]
    densities: tuple[Number, ...]
    iron_powder_g: Number
    purity: Number
    inert_g: Number
    inert_density: Number
    pore_like: float
    area_cm2: Number
    oxide_built_Ah: Number
    dry_g: Number
    thickness_um: Number | None
    rest_Ah: Number
    drying_Ah: Number
    converted: Number
    reference_Ah: Number
    reference_first_Ah: Number
    last_Ah: Number
    last_first_Ah: Number
    charge_total_Ah: Number
    net_charge_Ah: Number
    discharged: float
    water_lost_g: Number | None
    water_weighed: bool
    carbonate_formed_mol: Number
    oxide_at_reference: Number | None


def account(v: Values) -> dict[str, Number]:
    """Work out every quantity of the balance; those whose inputs are missing are left out.

    Charges in Ah, masses in g, iron in mol or as a share of the iron built in.
    """
    iron = _iron(v)
    return {
        **{key: value for key, value in iron.items() if not key.startswith("_")},
        **_volumes(v, iron["_solids_g"]),
        **_electrons(v, iron),
        **_ledger(v, iron),
    }


def _sum(v: Values, solids_g: Number, of: str, *parts: str) -> Number:
    """Add up one property over the solids, over all of them or over some parts of the electrode."""
    chosen = [
        fraction * getattr(solid, of)
        for solid, fraction in zip(v.solids, v.fractions, strict=True)
        if not parts or solid.part in parts
    ]
    return solids_g * sum(chosen[1:], chosen[0]) if chosen else solids_g * 0.0


def _iron(v: Values) -> dict[str, Number]:
    """Iron inventory, oxide at teardown, locked charge, and the hydroxide check."""
    solids_g = v.dry_g - v.inert_g
    built_g = v.iron_powder_g * v.purity
    built_mol = built_g / ATOMIC_WEIGHT["Fe"]
    oxide_Ah = _sum(v, solids_g, "charge_Ah_per_g")
    oxide_mol = _sum(v, solids_g, "iron_mol_per_g", "hydroxide", "oxide")
    metal_mol = _sum(v, solids_g, "iron_mol_per_g", "metal")
    hydroxide_mol = _sum(v, solids_g, "iron_mol_per_g", "hydroxide")
    reached_as_oxide = (v.last_first_Ah * v.discharged + v.rest_Ah) / (2 * F)
    reached_mol = (v.last_first_Ah + v.rest_Ah * v.discharged) / (2 * F)
    second_Ah = (v.last_Ah - v.last_first_Ah) * v.discharged
    made = reached_as_oxide * (1 - v.converted)
    converted_Ah = v.converted * F * 2 / 3 * reached_as_oxide
    locked_mol = oxide_mol - reached_as_oxide
    unreached_metal_mol = metal_mol - (reached_mol - reached_as_oxide)
    shed_mol = built_mol - oxide_mol - metal_mol
    return {
        "closure": (oxide_mol + metal_mol) / built_mol,
        "shed_share": shed_mol / built_mol,
        "oxide_Ah": oxide_Ah,
        "locked_Ah": oxide_Ah - v.last_Ah * v.discharged - v.rest_Ah - v.drying_Ah - converted_Ah,
        "locked_share": locked_mol / built_mol,
        "metal_share": unreached_metal_mol / built_mol,
        "reached_share": reached_mol / built_mol,
        "shed_as_oxide_Ah": shed_mol * F * 8 / 3,
        "hydroxide_mol": hydroxide_mol,
        "hydroxide_least_mol": made - 3 * second_Ah / (2 * F),
        "hydroxide_most_mol": reached_as_oxide - second_Ah / F,
        "_solids_g": solids_g,
        "_built_mol": built_mol,
        "_locked_mol": locked_mol,
        "_metal_mol": unreached_metal_mol,
        "_shed_mol": shed_mol,
        "_reached_mol": reached_mol,
    }


def _volumes(v: Values, solids_g: Number) -> dict[str, Number]:
    """Porosity predicted for the solids and for the image, and the oxide that Delesse's rule would find."""
    if v.thickness_um is None:
        return {}
    room = v.area_cm2 * v.thickness_um * 1e-4
    per_gram = {
        solid.name: (solid.part, fraction / density)
        for solid, fraction, density in zip(v.solids, v.fractions, v.densities, strict=True)
    }
    solid_cm3 = solids_g * sum(volume for part, volume in per_gram.values() if part != "salt")
    oxide_cm3 = solids_g * sum(volume for part, volume in per_gram.values() if part in ("hydroxide", "oxide"))
    inert_cm3 = v.inert_g / v.inert_density
    porosity = 1 - (solid_cm3 + inert_cm3) / room
    return {
        "porosity": porosity,
        "image_porosity": porosity + v.pore_like * inert_cm3 / room,
        "oxide_volume_share": oxide_cm3 / room,
    }


def _electrons(v: Values, iron: dict[str, Number]) -> dict[str, Number]:
    """Charge that made hydrogen, and the water bound by it and by the solids."""
    parasitic_Ah = v.net_charge_Ah + iron["oxide_Ah"] - v.oxide_built_Ah
    hydrogen_in_solids_mol = _sum(v, iron["_solids_g"], "hydrogen_mol_per_g")
    bound_g = WATER_G_PER_MOL * (parasitic_Ah / (2 * F) + hydrogen_in_solids_mol / 2 - v.carbonate_formed_mol)
    found = {
        "parasitic_Ah": parasitic_Ah,
        "parasitic_share": parasitic_Ah / v.charge_total_Ah,
        "hydrogen_g": parasitic_Ah * HYDROGEN_G_PER_Ah,
        "water_bound_g": bound_g,
    }
    if v.water_lost_g is not None:
        found["evaporated_g"] = v.water_lost_g - (found["hydrogen_g"] if v.water_weighed else bound_g)
    return found


def _ledger(v: Values, iron: dict[str, Number]) -> dict[str, Number]:
    """The loss, and its four parts where the iron at the reference is known.

    Every atom built in is reachable, locked oxide, unreachable metal or shed, now as at the reference; so the
    four parts add up to the loss whatever the numbers are.
    """
    reference_mol = v.reference_first_Ah / (2 * F)
    end_Ah = v.last_Ah + v.rest_Ah * v.discharged
    per_atom = v.reference_Ah / reference_mol
    reached = iron["_reached_mol"]
    found = {
        "loss_Ah": v.reference_Ah - end_Ah,
        "utilisation": v.reference_Ah / (2 * F * iron["_built_mol"]),
        "proportional_Ah": v.reference_Ah * iron["_locked_mol"] / iron["_built_mol"],
        "ledger_shed_Ah": per_atom * iron["_shed_mol"],
        "ledger_less_per_atom_Ah": reached * per_atom - end_Ah,
    }
    if v.oxide_at_reference is None:
        return found
    unreached = iron["_built_mol"] - reference_mol
    found["ledger_locked_Ah"] = per_atom * (iron["_locked_mol"] - v.oxide_at_reference * unreached)
    found["ledger_metal_Ah"] = per_atom * (iron["_metal_mol"] - (1 - v.oxide_at_reference) * unreached)
    return found
