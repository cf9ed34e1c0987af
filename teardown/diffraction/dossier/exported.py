"""A fit to take away: with the names of powder CIF, and its curves as a table."""

import csv
import io
from typing import Any

from teardown.diffraction.dossier.figures import unpacked
from teardown.diffraction.dossier.making import making_of
from teardown.diffraction.models import Fit
from teardown.formats.powder_cif import CifPhase, CifResult, write_result
from teardown.science.crystallography.radiation import K_ALPHA_A


def as_cif(fit: Fit) -> str:
    """Write a fit as powder CIF."""
    statistics: dict[str, Any] = fit.statistics
    inner = statistics.get("statistics", {})
    amorphous = statistics.get("amorphous") or {}
    rows = tuple(
        CifPhase(
            key=row.phase,
            name=str(row.details.get("name") or row.phase),
            weight_fraction=row.weight_fraction,
            esd=row.esd,
            u=row.u,
            below_limit=row.below_limit,
            absolute=row.details.get("weight_fraction_absolute"),
            cell=tuple(row.details.get("cell") or ()),
            texture_r=row.details.get("texture_r"),
        )
        for row in fit.fractions.all()
    )
    result = CifResult(
        block=f"fit_{fit.pk}",
        phases=rows,
        Rwp=fit.Rwp,
        Rexp=inner.get("Rexp") or statistics.get("figures", {}).get("Rexp"),
        GoF=fit.GoF,
        standard=str(amorphous.get("standard", "")),
        standard_fraction=amorphous.get("given"),
        made_by=f"{fit.run.function} {fit.run.function_version}, release {fit.run.release}",
        finished=fit.run.finished_at.isoformat() if fit.run.finished_at else "",
        phase_table=str(statistics.get("phase_table", "")),
        remarks=(
            *(f"{name}: {words}" for name, words in making_of(fit) if name != "phase table"),
            *(str(flag["message"]) for flag in fit.flags),
        ),
        wavelength_A=_wavelength(statistics.get("radiation")),
    )
    return write_result(result)


def _wavelength(tube: str | None) -> float | None:
    """Give the strongest line of a tube, in Å; a result from elsewhere names none."""
    return K_ALPHA_A[tube][0] if tube in K_ALPHA_A else None


def curves_as_csv(fit: Fit) -> str:
    """Write the curves of a fit: angle, then counts as measured, as calculated, and of each phase."""
    curves = unpacked(fit.curves)
    names = ["two_theta_deg", "measured", "calculated", "background", "sigma"]
    names += [name for name in curves if name.startswith("phase/")]
    out = io.StringIO()
    writer = csv.writer(out)
    heads = [names[0], *(f"{name.replace('phase/', 'phase ')}_counts" for name in names[1:])]
    writer.writerow(heads)
    for row in zip(*(curves[name] for name in names), strict=True):
        writer.writerow([f"{row[0]:.4f}", *(f"{value:.2f}" for value in row[1:])])
    return out.getvalue()
