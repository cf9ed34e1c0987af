"""What an instrument does to a sharp line, from the pattern of a standard."""

from dataclasses import dataclass
from math import exp

import numpy as np
from numpy.typing import NDArray

from teardown.science.crystallography.fit import fit_pattern
from teardown.science.crystallography.parameters import Optics
from teardown.science.crystallography.phases import phase_table
from teardown.science.crystallography.profile import mixture
from teardown.science.crystallography.radiation import Radiation
from teardown.science.crystallography.settings import Settings
from teardown.science.errors import MeasurementError, Remark

Array = NDArray[np.float64]
# Thresholds are our own, set on drawn patterns; no source
MOST_UNEXPLAINED = 0.20
FEWEST_COUNTS = 5_000.0
LEAST_SPAN_DEG = 50.0
PLACES_DEG = (30.0, 60.0, 90.0)


class NoProfile(MeasurementError):
    """A pattern cannot serve to calibrate an instrument."""

    code = "crystallography.E015"


@dataclass(frozen=True, slots=True)
class Profile:
    """The line shape of an instrument.

    ``widths_deg`` maps an angle to the full width at half maximum there. ``peak_shift_deg`` is by how
    much the standard sat off its place.
    """

    optics: Optics
    phase: str
    widths_deg: dict[float, float]
    peak_shift_deg: float
    GoF: float
    remarks: tuple[Remark, ...]


def instrument_profile(
    two_theta_deg: Array,
    counts: Array,
    *,
    phase: str,
    radiation: str | Radiation = "cu",
    sigma: Array | None = None,
    variable_slits: bool = False,
) -> Profile:
    """Take the line shape of an instrument from the pattern of a standard with sharp lines.

    All width is laid to the instrument, so the standard must not broaden lines itself: LaB6 or silicon made
    for line shapes.

    Parameters
    ----------
    two_theta_deg, counts, sigma : ndarray, shape (points,)
    phase : str
        The standard, by a name of the phase table.
    radiation : str or Radiation
    variable_slits : bool

    Raises
    ------
    NoProfile
        If the pattern is short, weak, or not that of the standard alone.
    """
    key = phase_table().key_of(phase)
    settings = Settings(optics=Optics(variable_slits=variable_slits))
    fit = fit_pattern(
        two_theta_deg, counts, phases=[key], radiation=radiation, sigma=sigma, settings=settings
    )
    row, curves = fit.phase(key), fit.curves
    name = phase_table().phases[key].name
    span = float(curves.two_theta_deg[-1] - curves.two_theta_deg[0])
    if span < LEAST_SPAN_DEG:
        raise NoProfile(
            f"The scan spans {span:.0f}°, and widths have to be known over {LEAST_SPAN_DEG:.0f}°. "
            "Scan the standard over the range that specimens are scanned over."
        )
    net = float((curves.measured - curves.background).max())
    if net < FEWEST_COUNTS and sigma is None:
        raise NoProfile(
            f"The strongest line of {name} stands {net:.0f} counts above the background. "
            f"Count until it stands {FEWEST_COUNTS:.0f} above."
        )
    if fit.statistics.unexplained > MOST_UNEXPLAINED:
        raise NoProfile(
            f"{name.capitalize()} leaves {100 * fit.statistics.unexplained:.0f} % of the pattern over. "
            "Check that the specimen is the standard alone, and the tube."
        )
    moved = fit.parameters
    optics = Optics(
        U=moved["U"],
        V=moved["V"],
        W=exp(moved["log_W"]),
        X=row.width_X_deg or 0.0,
        Y=row.width_Y_deg or 0.0,
        axial=moved["axial"],
        calibrated=True,
        variable_slits=variable_slits,
    )
    widths = {place: width_deg(optics, place) for place in PLACES_DEG}
    return Profile(optics, key, widths, moved["displacement"], fit.statistics.GoF, fit.remarks)


def width_deg(optics: Optics, two_theta_deg: float) -> float:
    """Give the full width at half maximum that an instrument gives a sharp line, in degrees 2θ."""
    theta = np.radians(two_theta_deg) / 2
    tangent, cosine = np.tan(theta), np.cos(theta)
    gauss = np.sqrt(max(optics.U * tangent**2 + optics.V * tangent + optics.W, 4e-4))
    lorentz = max(optics.X / cosine + optics.Y * tangent, 1e-6)
    return float(mixture(np.array([gauss]), np.array([lorentz])).width[0])
