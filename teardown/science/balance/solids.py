"""What each phase of a dry iron electrode holds: iron, charge, hydrogen and volume a gram."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from teardown.science.constants import ATOMIC_WEIGHT, FARADAY_Ah_PER_MOL
from teardown.science.crystallography.phases import Phase, PhaseTable

Part = Literal["metal", "hydroxide", "oxide", "salt", "inert"]

HYDROUS_DENSITY_U = 0.046
"""Standard uncertainty of the density of ferrous hydroxide, g/cm3: uniform over 3.38 to 3.54."""

OTHER_DENSITY_U = 0.02
METAL_DENSITY_U = 0.005


@dataclass(frozen=True, slots=True)
class Solid:
    """One phase of the dry electrode, per gram.

    ``iron_fraction`` and ``charge_Ah_per_g`` (to bring all of its iron to the metal), ``iron_mol_per_g`` and
    ``hydrogen_mol_per_g`` (atoms), ``density_g_per_cm3`` with its standard uncertainty. Salts come from dried
    electrolyte: they weigh, but take no part in the solids of the wet electrode.
    """

    name: str
    part: Part
    iron_fraction: float
    charge_Ah_per_g: float
    hydrogen_mol_per_g: float
    density_g_per_cm3: float
    density_u: float = OTHER_DENSITY_U
    oxyhydroxide: bool = False

    @property
    def iron_mol_per_g(self) -> float:
        """Give the moles of iron in a gram."""
        return self.iron_fraction / ATOMIC_WEIGHT["Fe"]


def solid_of(phase: Phase) -> Solid:
    """Work out what a phase of the phase table holds, from the atoms of its cell.

    The charge is that of electroneutrality: oxygen and sulfide take two electrons, hydrogen and carbonate
    carbon give theirs, and what is left is what iron must take up to become the metal.
    """
    atoms = phase.atoms_per_cell
    mass = phase.cell_mass
    part = _part(phase)
    iron = atoms.get("Fe", 0.0)
    electrons = 0.0 if part in ("metal", "salt", "inert") or iron == 0 else _electrons(atoms)
    return Solid(
        name=phase.key,
        part=part,
        iron_fraction=iron * ATOMIC_WEIGHT["Fe"] / mass,
        charge_Ah_per_g=electrons * FARADAY_Ah_PER_MOL / mass,
        hydrogen_mol_per_g=atoms.get("H", 0.0) / mass if part in ("hydroxide", "oxide") else 0.0,
        density_g_per_cm3=phase.density_g_cm3,
        density_u={"metal": METAL_DENSITY_U, "hydroxide": HYDROUS_DENSITY_U}.get(part, OTHER_DENSITY_U),
        oxyhydroxide=phase.group == "oxyhydroxide",
    )


def solids_of(table: PhaseTable, names: Sequence[str]) -> tuple[Solid, ...]:
    """Look up phases by name and work out what each holds."""
    return tuple(solid_of(table[name]) for name in names)


def _part(phase: Phase) -> Part:
    if phase.key == "iron-hydroxide":
        return "hydroxide"
    if "Fe" in phase.atoms_per_cell:
        return "metal" if phase.group == "metal" else "oxide"
    return "salt" if phase.group == "salt" else "inert"


def _electrons(atoms: Mapping[str, float]) -> float:
    """Count the electrons that the iron of one cell must take up, from the charges of its neighbours."""
    taken = {"O": 2.0, "S": 2.0, "Cl": 1.0, "H": -1.0, "C": -4.0}
    return sum(taken.get(element, 0.0) * count for element, count in atoms.items())
