"""From scales to shares of the mass, their doubt, and sums over groups of phases."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from teardown.science.crystallography.phases import Phase
from teardown.science.errors import MeasurementError

Array = NDArray[np.float64]

# The second uncertainty of a share W: a floor of 0.5 wt% and 4 % of the share, beside the e.s.d.: what
# weighed mixtures of a published round robin leave over (Madsen et al. 2001, J. Appl. Cryst. 34, 409), not
# what a fit says of itself. The floor of an amorphous share is our own judgement.
FLOOR = 0.005
RELATIVE = 0.04
AMORPHOUS_FLOOR = 0.025

GROUPS = {
    "metal": "iron metal and carbide",
    "spinel": "spinel (magnetite/maghemite)",
    "oxide": "other iron oxides",
    "hydroxide": "hydroxide",
    "oxyhydroxide": "oxyhydroxide",
    "sulfide": "sulfide",
    "carbonate": "iron carbonate",
    "salt": "salt",
    "carbon": "carbon",
    "collector": "collector",
    "air electrode": "air electrode",
    "additive": "additive",
    "standard": "standard or other",
}


class NothingFound(MeasurementError):
    """None of the phases offered has a scale above zero."""

    code = "crystallography.E007"
    hint = "Check the radiation and the list of phases."


@dataclass(frozen=True, slots=True)
class Shares:
    """Shares of the mass, 0 to 1, and their covariance, in the order of the phases."""

    weight: Array
    covariance: Array

    @property
    def esd(self) -> Array:
        """Standard deviation of each share as the fit sees it."""
        return np.sqrt(np.maximum(np.diag(self.covariance), 0.0))


def hill_howard(phases: Sequence[Phase], scales: Array, scale_covariance: Array) -> Shares:
    """Turn scales into shares: W = S·(ZM)·V over the sum of it (Hill & Howard 1987, J. Appl. Cryst. 20, 467).

    Parameters
    ----------
    phases : sequence of Phase, with their refined cells
    scales : ndarray, shape (n,)
    scale_covariance : ndarray, shape (n, n)

    Raises
    ------
    NothingFound
    """
    factor = np.array([0.0 if p.identification_only else p.cell_mass * p.volume_A3 for p in phases])
    mass = scales * factor
    total = float(mass.sum())
    if not total > 0:
        raise NothingFound
    weight = mass / total
    slope = (np.diag(factor) - np.outer(weight, factor)) / total
    return Shares(weight, slope @ scale_covariance @ slope.T)


def honest(esd: float, weight: float, shift: float = 0.0) -> float:
    """Give the second uncertainty of a share: e.s.d., floor, relative part and a shift, in squares."""
    return sqrt(esd**2 + FLOOR**2 + (RELATIVE * weight) ** 2 + shift**2)


@dataclass(frozen=True, slots=True)
class GroupShare:
    """Sum over a group; ``limit`` adds up the limits of its phases that were not found."""

    group: str
    words: str
    weight_fraction: float
    esd: float
    u: float
    phases: tuple[str, ...]
    limit: float | None


def group_sums(
    phases: Sequence[Phase], shares: Shares, shifts: Array, limits: dict[str, tuple[str, float]]
) -> tuple[GroupShare, ...]:
    """Add shares up by group, with the covariance between their phases.

    ``limits`` maps a phase that was offered and not found to its group and its limit.
    """
    found = []
    for group, words in GROUPS.items():
        index = [i for i, p in enumerate(phases) if p.group == group and not p.identification_only]
        missing = [limit for g, limit in limits.values() if g == group]
        if not index and not missing:
            continue
        weight = float(shares.weight[index].sum())
        esd = sqrt(max(0.0, float(shares.covariance[np.ix_(index, index)].sum())))
        u = honest(esd, weight, float(shifts[index].sum()))
        names = tuple(phases[i].key for i in index)
        found.append(GroupShare(group, words, weight, esd, u, names, sum(missing) if missing else None))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Amorphous:
    """What no line shows, as a share of the specimen without its standard.

    ``value`` is None where it must not be stated; ``reason`` then says why. ``given`` is the weighed share of
    the standard in the mixture, ``found`` what it makes of the crystalline part.
    """

    standard: str
    given: float
    found: float
    value: float | None
    u: float | None
    reason: str = ""


def amorphous_share(given: float, found: float, crystallinity: float = 1.0) -> float:
    """Give the share of a specimen that is not in its crystalline phases, from an internal standard.

    Parameters
    ----------
    given : float
        Weighed share of the standard in the mixture.
    found : float
        Share of the standard among the crystalline phases of the mixture.
    crystallinity : float
        Crystalline share of the standard itself.
    """
    return 1 - (given * crystallinity / found) * (1 - found) / (1 - given)


def amorphous_u(
    given: float,
    found: float,
    esd: float,
    microabsorption: float,
    crystallinity: float,
    u_crystallinity: float,
) -> float:
    """Give the uncertainty of an amorphous share: at least 2.5 wt%, microabsorption and crystallinity."""
    by_found = given * crystallinity / (found**2 * (1 - given))
    by_crystallinity = given / found * (1 - found) / (1 - given)
    return sqrt(
        AMORPHOUS_FLOOR**2
        + (by_found * esd) ** 2
        + microabsorption**2
        + (by_crystallinity * u_crystallinity) ** 2
    )
