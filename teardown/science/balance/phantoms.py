"""Cells of known truth: an electrode is invented atom by atom, then measured with errors of a known size.

Serves the tests of the intervals and of the flags. Every number here is invented.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from teardown.science.balance.account import Values, account
from teardown.science.balance.inputs import (
    PLATEAU_U,
    AsBuilt,
    Handling,
    History,
    Inputs,
    Powder,
    Quantity,
    Recovered,
    Sections,
    State,
    Water,
)
from teardown.science.balance.microabsorption import as_found
from teardown.science.balance.solids import Solid, solids_of
from teardown.science.constants import FARADAY_Ah_PER_MOL
from teardown.science.crystallography.phases import phase_table

PHASES = ("iron", "iron-hydroxide", "magnetite", "feroxyhyte", "potassium-carbonate")
COPPER_PER_CM = np.array([2371.0, 673.0, 1148.0, 826.0, 209.0])
COBALT_PER_CM = np.array([450.0, 147.0, 240.0, 181.0, 316.0])
"""Linear absorption of the phases above for the two tubes, 1/cm."""

FRACTION_U = 0.010
CONVERTED, UNSEEN_SHARE, GRAIN_UM, HYDROUS = (0.0, 0.2), (0.0, 0.15), (1.0, 5.0), 0.02
"""What a doubtful measurement leaves open; its truth lies anywhere within."""


@dataclass(frozen=True, slots=True)
class Invented:
    """One invented cell: its exact values, what they add up to, and the inputs as measured."""

    exact: Values
    truth: dict[str, float]
    inputs: Inputs


def invent(seed: int, *, state: State = "discharged", noise: float = 1.0, doubtful: bool = False) -> Invented:
    """Invent a cell and measure it.

    Parameters
    ----------
    seed : int
        Of the cell and of its measurement.
    state : {"charged", "discharged"}
        How it stood when it was opened.
    noise : float
        Size of the measuring errors over the stated uncertainties; 0 measures exactly.
    doubtful : bool
        Measure as badly as a laboratory may: coarse grains before a copper tube, no internal standard, no
        reference electrode, moist precipitate, hydroxide that turns into magnetite at rest.
    """
    rng = np.random.default_rng(seed)
    solids = solids_of(phase_table(), PHASES)
    exact = _exact(rng, solids, state)
    if doubtful:
        exact = replace(exact, converted=rng.uniform(*CONVERTED))
        inputs = _measured_badly(rng, exact, state, noise)
    else:
        inputs = _measured(rng, exact, state, noise)
    return Invented(exact, {name: float(value) for name, value in account(exact).items()}, inputs)


def with_found_fractions(
    inputs: Inputs, true: NDArray[np.float64], absorption_per_cm: NDArray[np.float64], grain_um: float
) -> Inputs:
    """Let coarse grains hide metal: replace the fractions by those at which a powder would be found."""
    density = np.array([solid.density_g_per_cm3 for solid in inputs.powder.solids])
    found = as_found(true, absorption_per_cm, density, grain_um)
    return replace(inputs, powder=replace(inputs.powder, fractions=found))


def _exact(rng: np.random.Generator, solids: Sequence[Solid], state: State) -> Values:
    """Share the iron out among reachable, locked, unreachable and shed, and build phases from it."""
    f = FARADAY_Ah_PER_MOL
    discharged = 1.0 if state == "discharged" else 0.0
    powder_g, purity = rng.uniform(0.8, 3.0), rng.uniform(0.97, 0.998)
    built_mol = powder_g * purity / 55.845
    reached, locked, shed = rng.uniform(0.2, 0.4), rng.uniform(0.1, 0.35), rng.uniform(0.0, 0.05)
    first_Ah = reached * built_mol * 2 * f
    second_Ah = first_Ah * rng.uniform(0.05, 0.2)
    rest_Ah = first_Ah * rng.uniform(0.005, 0.03) * discharged
    first_Ah -= rest_Ah
    magnetite = discharged * 3 * second_Ah / (2 * f)
    hydroxide = discharged * (reached * built_mol) - magnetite
    locked_hydroxide = rng.uniform(0.2, 0.6)
    iron_mol = np.array(
        [
            (1 - reached * discharged - locked - shed) * built_mol,
            hydroxide + locked * built_mol * locked_hydroxide,
            magnetite + locked * built_mol * (1 - locked_hydroxide),
            0.0,
            0.0,
        ]
    )
    per_gram = np.array([solid.iron_mol_per_g for solid in solids])
    mass = np.where(iron_mol > 0, iron_mol / np.where(per_gram > 0, per_gram, 1.0), 0.0)
    mass[-1] = rng.uniform(0.0, 0.02) * mass.sum()
    inert_g = 0.04 * powder_g
    fractions = mass / mass.sum()
    solid_cm3 = sum(m / s.density_g_per_cm3 for m, s in zip(mass, solids, strict=True) if s.part != "salt")
    porosity, area = rng.uniform(0.3, 0.6), 3.0 * powder_g
    thickness_um = 1e4 * (solid_cm3 + inert_g / 2.2) / (1 - porosity) / area
    last_Ah = first_Ah + second_Ah
    reference_Ah = last_Ah * rng.uniform(1.2, 2.0)
    total_Ah = reference_Ah * rng.uniform(60, 400)
    return Values(
        solids=tuple(solids),
        fractions=tuple(fractions),
        densities=tuple(solid.density_g_per_cm3 for solid in solids),
        iron_powder_g=powder_g,
        purity=purity,
        inert_g=inert_g,
        inert_density=2.2,
        pore_like=1.0,
        area_cm2=area,
        oxide_built_Ah=0.0,
        dry_g=mass.sum() + inert_g,
        thickness_um=thickness_um,
        rest_Ah=rest_Ah,
        drying_Ah=0.0,
        converted=0.0,
        reference_Ah=reference_Ah,
        reference_first_Ah=reference_Ah * rng.uniform(0.78, 0.9),
        last_Ah=last_Ah,
        last_first_Ah=first_Ah,
        charge_total_Ah=total_Ah,
        net_charge_Ah=total_Ah * rng.uniform(0.05, 0.15),
        discharged=discharged,
        water_lost_g=total_Ah * 0.15 * 0.336 + rng.uniform(2.0, 6.0),
        water_weighed=False,
        carbonate_formed_mol=0.0,
        oxide_at_reference=rng.uniform(0.05, 0.3),
    )


def _measured(rng: np.random.Generator, exact: Values, state: State, noise: float) -> Inputs:
    """Measure a cell with normal errors of the stated size."""

    def read(value: float, u: float) -> Quantity:
        return Quantity(value + noise * u * float(rng.standard_normal()), u)

    true = account(exact)
    present = np.array(exact.fractions) > 0
    spread = np.eye(len(present)) - np.outer(np.array(exact.fractions), np.ones(len(present)))
    covariance = spread @ np.diag((FRACTION_U * present) ** 2) @ spread.T
    weights, vectors = np.linalg.eigh(covariance)
    error = vectors @ (np.sqrt(np.clip(weights, 0, None)) * rng.standard_normal(len(weights)))
    found = np.clip(np.array(exact.fractions) + noise * error, 0.0, None)
    rest, thickness = float(exact.rest_Ah), float(exact.thickness_um or 0.0)
    return Inputs(
        AsBuilt(
            read(exact.iron_powder_g, 0.002),
            read(exact.purity, 0.003),
            read(exact.inert_g, 0.002),
            exact.inert_density,
            read(exact.area_cm2, 0.005 * exact.area_cm2),
        ),
        Recovered(
            read(exact.dry_g, 0.004),
            read(thickness, 0.015 * thickness),
            read(rest, 0.25 * rest),
            hydrous=0.0,
        ),
        Powder(exact.solids, found / found.sum(), covariance, "co"),
        History(
            read(exact.reference_Ah, 0.003 * exact.reference_Ah),
            read(exact.reference_first_Ah, 0.003 * exact.reference_first_Ah),
            read(exact.last_Ah, 0.003 * exact.last_Ah),
            read(exact.last_first_Ah, 0.003 * exact.last_first_Ah),
            read(exact.charge_total_Ah, 0.003 * exact.charge_total_Ah),
            read(exact.net_charge_Ah, 0.2),
            state,
        ),
        Sections(read(true["image_porosity"], 0.02), read(true["oxide_volume_share"], 0.02), 3),
        Water(read(float(exact.water_lost_g or 0.0), 0.1)),
        Handling(state_recorded=state),
        read(float(exact.oxide_at_reference or 0.0), 0.02),
    )


def _measured_badly(rng: np.random.Generator, exact: Values, state: State, noise: float) -> Inputs:
    """Measure a cell with normal errors, and with hidden facts that lie anywhere within their ranges."""
    plain = _measured(rng, exact, state, noise)
    powder, history, dry = plain.powder, plain.history, plain.recovered.dry_g
    true = np.array(exact.fractions)
    hydroxide = [solid.part for solid in exact.solids].index("hydroxide")
    unseen = np.zeros(len(true))
    unseen[hydroxide] = share = min(rng.uniform(*UNSEEN_SHARE), 0.9 * true[hydroxide])
    seen = (true - unseen) / (1 - share)
    grain_um = float(np.exp(rng.uniform(*np.log(GRAIN_UM))))
    error = powder.fractions - true / true.sum()
    density = np.array([solid.density_g_per_cm3 for solid in exact.solids])
    found = np.clip(as_found(seen, COPPER_PER_CM, density, grain_um) + error, 0.0, None)
    moist = HYDROUS * true[hydroxide] * float(exact.dry_g) * noise * float(rng.standard_normal())

    def blurred(plateau: Quantity, most_Ah: float) -> Quantity:
        value = plateau.value * (1 + noise * PLATEAU_U * float(rng.standard_normal()))
        return Quantity(min(value, most_Ah), plateau.u)

    return replace(
        plain,
        recovered=replace(
            plain.recovered,
            dry_g=Quantity(dry.value + moist, dry.u),
            converted=CONVERTED,
            hydrous=HYDROUS,
        ),
        powder=replace(
            powder,
            fractions=found / found.sum(),
            tube="cu",
            grain_um=GRAIN_UM,
            absorption_per_cm=COPPER_PER_CM,
            amorphous=UNSEEN_SHARE,
        ),
        history=replace(
            history,
            reference_first_Ah=blurred(history.reference_first_Ah, history.reference_Ah.value),
            last_first_Ah=blurred(history.last_first_Ah, history.last_Ah.value),
            reference_electrode=False,
        ),
    )
