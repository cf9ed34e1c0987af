"""The lines a tube sends out, and what the optics do to them."""

from dataclasses import dataclass
from functools import lru_cache
from math import cos, radians

import numpy as np
from numpy.typing import NDArray

from teardown.science.errors import MeasurementError

Array = NDArray[np.float64]

HC_EV_A = 12398.41984  # CODATA 2018, exact
# K-alpha 1 and 2 in Å. Cu: Hölzer et al. 1997, Phys. Rev. A 56, 4554; the others from the same family of
# measurements and from Deslattes et al. 2003, Rev. Mod. Phys. 75, 35, from memory.
K_ALPHA_A = {
    "cu": (1.5405929, 1.5444274),
    "co": (1.7889965, 1.7928350),
    "mo": (0.7093171, 0.7136074),
    "cr": (2.2897260, 2.2936510),
    "fe": (1.9360413, 1.9399733),
}
K_BETA_A = {"cu": 1.39225, "co": 1.62083, "mo": 0.63229, "cr": 2.08491, "fe": 1.75664}  # from memory
TUNGSTEN_L_ALPHA_A = 1.47639  # from memory
NAMES = {"cu": "Cu Kα", "co": "Co Kα", "mo": "Mo Kα", "cr": "Cr Kα", "fe": "Fe Kα"}


class UnknownRadiation(MeasurementError):
    """A tube is not one of those whose lines are known here."""

    code = "crystallography.E005"
    hint = "Write cu, co, mo, cr or fe."


@dataclass(frozen=True, slots=True)
class Radiation:
    """The radiation of a pattern.

    ``lines`` are (wavelength in Å, weight) with weights that add up to one. ``polarisation`` is K of the
    Lorentz-polarisation factor: 1 without a monochromator, cos² of its angle behind the specimen.
    """

    anode: str
    lines: tuple[tuple[float, float], ...]
    polarisation: float = 1.0

    @property
    def name(self) -> str:
        """Name of the radiation as it is printed."""
        return NAMES[self.anode]

    @property
    def wavelength_A(self) -> float:
        """Wavelength of the strongest line, in Å."""
        return self.lines[0][0]

    @property
    def energy_eV(self) -> float:
        """Energy of the weighted mean of the lines, in eV."""
        return HC_EV_A / sum(length * weight for length, weight in self.lines)


def radiation(
    anode: str,
    *,
    alpha_1_only: bool = False,
    ratio: float = 0.5,
    monochromator_2theta_deg: float | None = None,
) -> Radiation:
    """Give the radiation of a tube.

    Parameters
    ----------
    anode : str
        "cu", "co", "mo", "cr" or "fe", in any case.
    alpha_1_only : bool
        True where a primary monochromator takes K-alpha 2 away.
    ratio : float
        Intensity of K-alpha 2 over K-alpha 1.
    monochromator_2theta_deg : float, optional
        Diffraction angle of a monochromator behind the specimen; 26.6 for graphite and Cu.

    Raises
    ------
    UnknownRadiation
    """
    key = anode.strip().casefold().removesuffix("ka").removesuffix("kα").strip()
    if key not in K_ALPHA_A:
        raise UnknownRadiation(f'"{anode}" is not a tube that is known here.')
    first, second = K_ALPHA_A[key]
    lines = ((first, 1.0),) if alpha_1_only else ((first, 1 / (1 + ratio)), (second, ratio / (1 + ratio)))
    polarisation = 1.0 if monochromator_2theta_deg is None else cos(radians(monochromator_2theta_deg)) ** 2
    return Radiation(key, lines, polarisation)


def nearest_anode(wavelength_A: float) -> str | None:
    """Name the tube whose K-alpha lies within 0.01 Å of a wavelength, or None."""
    anode = min(K_ALPHA_A, key=lambda a: abs(K_ALPHA_A[a][0] - wavelength_A))
    return anode if abs(K_ALPHA_A[anode][0] - wavelength_A) < 0.01 else None


def lorentz_polarisation(two_theta_deg: Array, polarisation: float) -> Array:
    """Give (1 + K cos² 2θ) / ((1 + K) sin² θ cos θ), dimensionless, same shape as the angles."""
    theta = np.radians(two_theta_deg) / 2
    top = 1 + polarisation * np.cos(2 * theta) ** 2
    return np.asarray(top / ((1 + polarisation) * np.sin(theta) ** 2 * np.cos(theta)), dtype=np.float64)


@lru_cache(maxsize=512)
def dispersion(element: str, energy_eV: float) -> complex:
    """Give f' + i f'' of an element, in electrons (Cromer & Liberman, as tabulated in gemmi).

    Near an edge sources differ: for iron and Co K-alpha by 0.2 electrons, some 2 to 3 % of its intensities.
    """
    import gemmi

    real, imaginary = gemmi.cromer_liberman(z=gemmi.Element(element).atomic_number, energy=energy_eV)
    return complex(real, imaginary)
