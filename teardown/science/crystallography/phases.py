"""The phase table: what each phase is made of, how it is built, and where that was read.

The table ships beside this file as data. Nothing that depends on the tube is stored: intensities and
reference intensity ratios are computed from the structures for the radiation in use.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from functools import cached_property, lru_cache
from importlib.resources import files
from typing import Any, Literal

from teardown.science.crystallography.symmetry import Cell, atomic_weight, site_multiplicity, volume_A3
from teardown.science.errors import MeasurementError

AVOGADRO_A3 = 1.66053906660  # g/mol in a cell of 1 Å³ to g/cm³ (CODATA 2018 atomic mass constant)

Status = Literal["seen", "memory"]


class UnknownPhase(MeasurementError):
    """A phase is not in the phase table."""

    code = "crystallography.E001"


class AmbiguousPhase(MeasurementError):
    """A name stands for more than one phase of the table."""

    code = "crystallography.E002"


class NoPhases(MeasurementError):
    """The list of phases is empty, so there is nothing to fit."""

    code = "crystallography.E003"
    hint = "Name at least one phase of the phase table."


@dataclass(frozen=True, slots=True)
class Atom:
    """One site of the asymmetric unit: position in cell edges, occupancy, displacement B in Å²."""

    label: str
    element: str
    x: float
    y: float
    z: float
    occupancy: float
    B_A2: float


@dataclass(frozen=True, slots=True)
class Source:
    """Where a fact was read, and whether anyone has seen it there."""

    text: str
    status: Status


@dataclass(frozen=True, slots=True)
class Tie:
    """A site whose occupancy follows the cell edge on a straight line, held within its ends."""

    site: str
    a_oxidised: float
    a_full: float
    occupancy_oxidised: float
    occupancy_full: float

    def share(self, a_A: float) -> float:
        """Say how far a cell edge lies from the oxidised end (0) to the full one (1)."""
        return min(1.0, max(0.0, (a_A - self.a_oxidised) / (self.a_full - self.a_oxidised)))


@dataclass(frozen=True)
class Phase:
    """One crystalline phase with its cell (Å, degrees), its atoms and the sources of each.

    ``formula_units`` is Z of the cell; ``typical_size_nm`` is where a fit starts looking for the width.
    ``identification_only`` phases are named when their lines show, and never weighed.
    """

    key: str
    name: str
    formula: str
    formula_units: float
    space_group: str
    cell: Cell
    atoms: tuple[Atom, ...]
    cell_source: Source
    coordinates_source: Source
    displacement_source: Source
    group: str
    synonyms: tuple[str, ...]
    texture_axis: tuple[int, int, int] | None
    typical_size_nm: float
    platy: bool
    identification_only: bool
    handbook_density_g_cm3: tuple[float, float]
    handbook_source: str
    density_reason: str
    notes: str
    tie: Tie | None = None

    @cached_property
    def atoms_per_cell(self) -> dict[str, float]:
        """Count the atoms of each element in one cell, occupancies in."""
        count: dict[str, float] = {}
        for atom in self.atoms:
            here = site_multiplicity(self.space_group, atom.x, atom.y, atom.z) * atom.occupancy
            count[atom.element] = count.get(atom.element, 0.0) + here
        return count

    @cached_property
    def cell_mass(self) -> float:
        """Mass of one cell, ZM of the weight equation, in g/mol."""
        return sum(n * atomic_weight(element) for element, n in self.atoms_per_cell.items())

    @property
    def molar_mass(self) -> float:
        """Mass of one formula unit as modelled, in g/mol."""
        return self.cell_mass / self.formula_units

    @property
    def volume_A3(self) -> float:
        """Volume of the cell, in Å³."""
        return volume_A3(self.cell)

    @property
    def density_g_cm3(self) -> float:
        """Density from the cell and its atoms, in g/cm³."""
        return self.cell_mass * AVOGADRO_A3 / self.volume_A3

    @property
    def mass_fractions(self) -> dict[str, float]:
        """Share of each element in the mass."""
        return {e: n * atomic_weight(e) / self.cell_mass for e, n in self.atoms_per_cell.items()}

    def with_cell(self, cell: Cell) -> "Phase":
        """Give the same phase with another cell, and with the occupancy that is tied to it."""
        if self.tie is None:
            return replace(self, cell=cell)
        tie, share = self.tie, self.tie.share(cell[0])
        occupancy = tie.occupancy_oxidised + share * (tie.occupancy_full - tie.occupancy_oxidised)
        atoms = tuple(replace(a, occupancy=occupancy) if a.label == tie.site else a for a in self.atoms)
        return replace(self, cell=cell, atoms=atoms)


@dataclass(frozen=True, slots=True)
class PhaseTable:
    """A numbered edition of the table; a change of any fact is a new edition.

    ``absent`` maps what may be asked for and has no structure here to the reason.
    """

    version: str
    phases: Mapping[str, Phase]
    ambiguous: Mapping[str, tuple[str, ...]]
    absent: Mapping[str, str]

    def __getitem__(self, name: str) -> Phase:
        """Find a phase by its key, name or a synonym; refuse what is unknown or stands for several."""
        return self.phases[self.key_of(name)]

    def key_of(self, name: str) -> str:
        """Give the key that a written name stands for.

        Raises
        ------
        UnknownPhase, AmbiguousPhase
        """
        wanted = _plain(name)
        names = self._names()
        if wanted in names:
            return names[wanted]
        if wanted in self.ambiguous:
            choices = ", ".join(self.ambiguous[wanted])
            raise AmbiguousPhase(f'"{name}" may mean {choices}: write which one.')
        if wanted in self.absent:
            raise UnknownPhase(f'"{name}" is not in the phase table {self.version}: {self.absent[wanted]}')
        near = get_close_matches(wanted, names, n=3, cutoff=0.6)
        keys = ", ".join(dict.fromkeys(names[n] for n in near)) if near else ", ".join(sorted(self.phases))
        raise UnknownPhase(
            f'"{name}" is not in the phase table {self.version}. {"Near it" if near else "It holds"}: {keys}.'
        )

    def _names(self) -> dict[str, str]:
        """Map every spelling to its key; keys win over names, names over synonyms."""
        names = {_plain(s): key for key, p in self.phases.items() for s in p.synonyms}
        names.update({_plain(p.name): key for key, p in self.phases.items()})
        names.update({_plain(key): key for key in self.phases})
        return names


def _plain(name: str) -> str:
    """Fold case, spaces and joining marks, so that "Iron-hydroxide" and "iron hydroxide" are one name."""
    return " ".join(name.casefold().replace("-", " ").replace("_", " ").split())


@lru_cache(maxsize=1)
def phase_table() -> PhaseTable:
    """Give the shipped phase table."""
    text = files("teardown.science.crystallography").joinpath("phases.json").read_text(encoding="utf-8")
    data = json.loads(text)
    ambiguous = {_plain(name): tuple(keys) for name, keys in data["ambiguous"].items()}
    absent = {_plain(name): reason for reason, names in data["absent"].items() for name in names}
    phases = {key: _phase(key, row) for key, row in data["phases"].items()}
    return PhaseTable(data["version"], phases, ambiguous, absent)


def choose(names: Sequence[str]) -> tuple[Phase, ...]:
    """Find phases by name, each once and in the order given.

    Raises
    ------
    NoPhases, UnknownPhase, AmbiguousPhase
    """
    keys = dict.fromkeys(phase_table().key_of(name) for name in names if name.strip())
    if not keys:
        raise NoPhases
    return tuple(phase_table().phases[key] for key in keys)


def _phase(key: str, row: Mapping[str, Any]) -> Phase:
    """Build a phase from a row of the shipped table."""
    sources = {part: Source(**source) for part, source in row["sources"].items()}
    low, high = row["handbook_density_g_cm3"]
    return Phase(
        key=key,
        name=row["name"],
        formula=row["formula"],
        formula_units=row["formula_units"],
        space_group=row["space_group"],
        cell=tuple(row["cell"]),
        atoms=tuple(Atom(*values) for values in row["atoms"]),
        cell_source=sources["cell"],
        coordinates_source=sources["coordinates"],
        displacement_source=sources["displacement"],
        group=row["group"],
        synonyms=tuple(row["synonyms"]),
        texture_axis=tuple(row["texture_axis"]) if row["texture_axis"] else None,
        typical_size_nm=row["typical_size_nm"],
        platy=row["platy"],
        identification_only=row["identification_only"],
        handbook_density_g_cm3=(low, high),
        handbook_source=row["handbook_source"],
        density_reason=row["density_reason"],
        notes=row["notes"],
        tie=Tie(**row["tied"]) if "tied" in row else None,
    )
