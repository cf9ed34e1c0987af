"""The powder of a cell as its balance takes it: shares and their covariance, tube, grains, amorphous part."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from teardown.diffraction.models import Fit, PhaseFraction
from teardown.findings.measure.assumed import Books
from teardown.science.balance.inputs import Powder, TakenFrom, Tube
from teardown.science.balance.solids import solids_of
from teardown.science.crystallography.absorption import linear_absorption_per_cm
from teardown.science.crystallography.fractions import honest
from teardown.science.crystallography.phases import Phase, phase_table
from teardown.science.errors import MeasurementError

TAKEN_FROM: dict[str, TakenFrom] = {"ground": "whole electrode", "piece": "one place", "surface": "surface"}


def powder_of(books: Books, fit: Fit) -> Powder:
    """Gather what diffraction says of the powder, and note what it does not."""
    rows = [row for row in fit.fractions.all() if not row.below_limit and row.weight_fraction > 0]
    table = phase_table()
    fractions = np.array([row.weight_fraction for row in rows])
    total = float(fractions.sum()) or 1.0
    pattern = fit.pattern
    if fit.amorphous is not None:
        half = 3**0.5 * (fit.amorphous_u or 0.025)
        amorphous = (max(fit.amorphous - half, 0.0), min(fit.amorphous + half, 0.9))
    else:
        amorphous = books.span("amorphous", "since there is no internal standard")
    tube = _tube(pattern.radiation if pattern else str(fit.statistics.get("radiation", "")))
    absorption = _absorption([table[row.phase] for row in rows], tube)
    corrected = bool(fit.statistics.get("corrected_for_grains", False))
    told = _grain_um(fit)
    grain = told
    if grain is None and absorption is not None and not corrected:
        grain = books.span("grain", "since the pattern does not tell it")
    return Powder(
        solids=solids_of(table, [row.phase for row in rows]),
        fractions=fractions / total,
        covariance=covariance_of(books, fit, rows, total),
        tube=tube,
        corrected=corrected,
        grain_um=grain,
        grain_told=told is not None or "grain" in books.stated,
        absorption_per_cm=absorption,
        amorphous=amorphous,
        taken_from=_taken_from(fit),
    )


def covariance_of(books: Books, fit: Fit, rows: Sequence[PhaseFraction], total: float) -> NDArray[np.float64]:
    """Give the covariance of the shares: that of the fit where it was kept, else from their uncertainties.

    What the fit does not know of (models, texture, background) is added to either as the same floor that the
    honest uncertainty of a share has; the shift that grain size would bring is not, for it is drawn.
    """
    share = np.array([row.weight_fraction for row in rows]) / total
    closing = np.eye(len(rows)) - np.outer(share, np.ones(len(rows)))
    kept = fit.statistics.get("covariance") or {}
    names = list(kept.get("phases", []))
    if rows and all(row.phase in names for row in rows):
        place = [names.index(row.phase) for row in rows]
        own = np.array(kept["values"], dtype=float)[np.ix_(place, place)] / total**2
        floor = np.array([honest(0.0, row.weight_fraction) for row in rows]) / total
        return np.asarray(own + closing @ np.diag(floor**2) @ closing.T)
    books.note("covariance", "phase fractions vary independently but for adding up to one")
    u = np.array([row.u or row.esd or 0.0 for row in rows])
    if not u.all():
        u = np.where(u > 0, u, books.take("fraction").u)
    return np.asarray(closing @ np.diag((u / total) ** 2) @ closing.T)


def _absorption(phases: list[Phase], tube: Tube) -> NDArray[np.float64] | None:
    """Give the linear absorption of each phase, or None where it is not known for the tube."""
    try:
        return np.array([linear_absorption_per_cm(phase, tube) for phase in phases])
    except MeasurementError:
        return None


def _grain_um(fit: Fit) -> tuple[float, float] | None:
    """Give the range of grain diameters that was told with the pattern or with the fit."""
    asked = (fit.statistics.get("settings") or {}).get("particle_size_um")
    if asked:
        return float(asked[0]), float(asked[1])
    pattern = fit.pattern
    if pattern is not None and pattern.grain_low_um and pattern.grain_high_um:
        return pattern.grain_low_um, pattern.grain_high_um
    return None


def _taken_from(fit: Fit) -> TakenFrom:
    """Tell what the powder stands for: as said with the pattern, else by where its sample was cut."""
    if fit.pattern is not None:
        return TAKEN_FROM.get(fit.pattern.preparation, "not known")
    place = fit.sample.place if fit.sample else ""
    return "whole electrode" if place == "whole" else "one place" if place else "not known"


def _tube(radiation: str) -> Tube:
    tubes: dict[str, Tube] = {"cu": "cu", "co": "co", "mo": "mo", "cr": "cr", "ag": "ag"}
    return tubes.get(radiation, "other")
