"""Density of potassium hydroxide and carbonate solutions, and the composition that a density tells."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from teardown.science.constants import molar_mass_g
from teardown.science.errors import MeasurementError, Remark


class OutsideTheDensityRange(MeasurementError):
    """The composition or temperature lies outside the measured range of the density equation."""

    code = "electrolyte.E003"
    hint = "KOH holds for 0 to 51.8 % by mass, K2CO3 for 0 to 36 %, both for 4 to 95 °C."


class NotADensityOfThisSolution(MeasurementError):
    """No composition within the measured range has this density."""

    code = "electrolyte.E004"
    hint = "Look at the unit (g/cm3, near 1.3 for 30 % KOH), the temperature and the instrument."


@dataclass(frozen=True, slots=True)
class ApparentVolume:
    """Coefficients of one solute in Laliberté's equation, with the range they were fitted in."""

    formula: str
    c0: float
    c1: float
    c2: float
    c3: float
    c4: float
    most: float


KOH = ApparentVolume(
    "KOH",
    821.119043254761,
    1043.20173374381,
    0.112873330222752,
    0.00124023636407386,
    539.630388368877,
    0.5186,
)
K2CO3 = ApparentVolume(
    "K2CO3",
    2290.10867876218,
    1038.77363895405,
    0.109769327294915,
    0.000497783340935823,
    -74.0786862142127,
    0.3606,
)


def water_density_g_per_cm3(temperature_C: ArrayLike) -> NDArray[np.float64]:
    """Give the density of air-free water at 1 atm, 0 to 100 °C.

    References
    ----------
    Kell, G. S., J. Chem. Eng. Data 20 (1975) 97, as used by Laliberté.
    """
    t = np.asarray(temperature_C, dtype=float)
    above = np.polyval([-2.8054253e-10, 1.0556302e-7, -4.6170461e-5, -0.0079870401, 16.945176, 999.83952], t)
    return np.asarray(above / (1 + 0.01687985 * t) / 1000)


def density_g_per_cm3(
    koh: ArrayLike, temperature_C: ArrayLike = 25.0, *, k2co3: ArrayLike = 0.0
) -> NDArray[np.float64]:
    """Give the density of a KOH solution, with carbonate if there is some.

    Parameters
    ----------
    koh, k2co3 : array_like
        Mass fractions of the solution, 0 to 1.
    temperature_C : array_like
        4 to 95 °C.

    Returns
    -------
    ndarray
        Density in g/cm3, broadcast over the arguments.

    Raises
    ------
    OutsideTheDensityRange
        If a fraction or the temperature lies outside the measured range.

    References
    ----------
    Laliberté, M., J. Chem. Eng. Data 54 (2009) 1725; coefficients as carried by the ``chemicals`` library.
    """
    w, x, t = np.broadcast_arrays(*(np.asarray(value, dtype=float) for value in (koh, k2co3, temperature_C)))
    if not (
        np.all((w >= 0) & (w <= KOH.most) & (x >= 0) & (x <= K2CO3.most)) and np.all((t >= 4) & (t <= 95))
    ):
        raise OutsideTheDensityRange(
            f"KOH {w.max():.3f}, K2CO3 {x.max():.3f} by mass at {t.min():g} to {t.max():g} °C were asked for."
        )
    water = 1 - w - x
    volume = water / (1000 * water_density_g_per_cm3(t))
    for fraction, solute in ((w, KOH), (x, K2CO3)):
        volume = volume + fraction * _apparent_volume_m3_per_kg(solute, 1 - water, t)
    return np.asarray(1 / volume / 1000)


def molarity_mol_per_L(koh: ArrayLike, temperature_C: ArrayLike = 25.0) -> NDArray[np.float64]:
    """Give the concentration of a KOH solution from its mass fraction, in mol/L."""
    return np.asarray(1000 * np.asarray(koh) * density_g_per_cm3(koh, temperature_C) / molar_mass_g("KOH"))


def koh_from_density(density: float, temperature_C: float = 25.0) -> float:
    """Give the mass fraction of KOH (0 to 1) that has this density in g/cm3, by bisection.

    The density rises all along with the fraction, so there is one answer. Carbonate is read as hydroxide: a
    density alone cannot tell the two apart.

    Raises
    ------
    NotADensityOfThisSolution
        If the density lies outside that of pure water to 51.8 % KOH.
    """
    low, high = 0.0, KOH.most
    least, most = (float(density_g_per_cm3(edge, temperature_C)) for edge in (low, high))
    if not least <= density <= most:
        raise NotADensityOfThisSolution(
            f"{density:g} g/cm3 at {temperature_C:g} °C lies outside {least:.4f} to {most:.4f} g/cm3."
        )
    for _ in range(60):
        middle = (low + high) / 2
        if float(density_g_per_cm3(middle, temperature_C)) < density:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def koh_from_molarity(concentration_mol_per_L: float, temperature_C: float = 25.0) -> float:
    """Give the mass fraction of KOH (0 to 1) of a concentration in mol/L, by bisection."""
    low, high = 0.0, KOH.most
    most = float(molarity_mol_per_L(high, temperature_C))
    if not 0 <= concentration_mol_per_L <= most:
        raise NotADensityOfThisSolution(
            f"{concentration_mol_per_L:g} mol/L lies outside 0 to {most:.1f} mol/L."
        )
    for _ in range(60):
        middle = (low + high) / 2
        if float(molarity_mol_per_L(middle, temperature_C)) < concentration_mol_per_L:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def remark_on_lithium(lithium_hydroxide_mol_per_L: float) -> tuple[Remark, ...]:
    """Say that equations made for KOH alone are used on a solution that holds LiOH too."""
    if lithium_hydroxide_mol_per_L <= 0:
        return ()
    return (
        Remark(
            code="electrolyte.W006",
            level="warning",
            message="The recipe holds LiOH; the equations were measured on KOH alone.",
            value=lithium_hydroxide_mol_per_L,
            remedy="Read the value as approximate, and take the composition from the titration.",
        ),
    )


def _apparent_volume_m3_per_kg(
    s: ApparentVolume, solutes: NDArray[np.float64], t: NDArray[np.float64]
) -> NDArray[np.float64]:
    above = solutes + s.c2 + s.c3 * t
    return np.asarray(above / ((s.c0 * solutes + s.c1) * np.exp(1e-6 * (t + s.c4) ** 2)))
