"""What a space group does to a point, a reflection and a cell.

gemmi is imported inside the functions: a page that only lists phases must not pay for it.
"""

from functools import lru_cache
from math import cos, radians, sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray

from teardown.science.errors import MeasurementError

Cell = tuple[float, float, float, float, float, float]
Array = NDArray[np.float64]


class UnknownSpaceGroup(MeasurementError):
    """A space-group symbol is not one of the International Tables."""

    code = "crystallography.E004"
    hint = 'Write it in full with its setting, as in "F d -3 m:2" or "R -3 c:H".'


@lru_cache(maxsize=256)
def operations(space_group: str) -> tuple[NDArray[np.int_], Array]:
    """Give the symmetry operations of a space group in its stated setting.

    Parameters
    ----------
    space_group : str
        Hermann-Mauguin symbol with its origin or axes where there is a choice.

    Returns
    -------
    rotations : ndarray of int, shape (n, 3, 3)
    translations : ndarray of float, shape (n, 3), in cell edges

    Raises
    ------
    UnknownSpaceGroup
        If the symbol is not known.
    """
    import gemmi

    found = gemmi.find_spacegroup_by_name(space_group)
    if found is None:
        raise UnknownSpaceGroup(f'"{space_group}" is not a space group.')
    steps: list[Any] = list(found.operations())
    rotations = np.array([step.rot for step in steps]) // gemmi.Op.DEN
    translations = np.array([step.tran for step in steps]) / gemmi.Op.DEN
    return rotations.astype(int), translations


@lru_cache(maxsize=2048)
def site_multiplicity(space_group: str, x: float, y: float, z: float) -> int:
    """Count the different points that symmetry makes of one (within 0.001 of a cell edge)."""
    rotations, translations = operations(space_group)
    points = (rotations @ np.array([x, y, z]) + translations) % 1.0
    apart = np.abs(points[:, None, :] - points[None, :, :])
    same = np.minimum(apart, 1.0 - apart).max(axis=2) < 1e-3
    return round(len(points) / float(same[0].sum()))


def volume_A3(cell: Cell) -> float:
    """Give the volume of a cell in Å³ (International Tables B, 1.1.3)."""
    a, b, c = cell[:3]
    ca, cb, cg = (cos(radians(angle)) for angle in cell[3:])
    return a * b * c * sqrt(1 - ca * ca - cb * cb - cg * cg + 2 * ca * cb * cg)


def reciprocal_metric(cell: Cell) -> Array:
    """Give the reciprocal metric tensor, shape (3, 3), in Å⁻², so that 1/d² = h·G*·h."""
    a, b, c = cell[:3]
    ca, cb, cg = (cos(radians(angle)) for angle in cell[3:])
    metric = np.array(
        [[a * a, a * b * cg, a * c * cb], [a * b * cg, b * b, b * c * ca], [a * c * cb, b * c * ca, c * c]]
    )
    return np.asarray(np.linalg.inv(metric), dtype=np.float64)


@lru_cache(maxsize=256)
def crystal_system(space_group: str) -> str:
    """Name the crystal system and, for trigonal groups, count hexagonal axes as hexagonal."""
    import gemmi

    found = gemmi.find_spacegroup_by_name(space_group)
    if found is None:
        raise UnknownSpaceGroup(f'"{space_group}" is not a space group.')
    name = str(found.crystal_system_str())
    return "hexagonal" if name == "trigonal" and found.ext != "R" else name


@lru_cache(maxsize=256)
def atomic_weight(element: str) -> float:
    """Give the standard atomic weight in g/mol."""
    import gemmi

    return float(gemmi.Element(element).weight)
