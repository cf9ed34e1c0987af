"""What made a result: the stretch, the settings and the editions that its numbers hang on."""

from collections.abc import Iterator

from teardown.diffraction.models import Fit
from teardown.page.typesetting import number
from teardown.science.crystallography.radiation import K_ALPHA_A, NAMES


def making_of(fit: Fit) -> Iterator[tuple[str, str]]:
    """Give settings and editions of a result, as name and words; those of a fit made here are more."""
    asked = fit.statistics.get("settings", {})
    tube = fit.statistics.get("radiation")
    if tube in K_ALPHA_A:
        yield "radiation", f"{NAMES[tube]}, λ {K_ALPHA_A[tube][0]:.4f} Å"
    if span := asked.get("fitted_deg"):
        yield "2θ fitted", f"{number(span[0], 1)}–{number(span[1], 1)}°"
    if asked:
        yield "phases offered", str(len(asked["phases"]))
        yield "background", f"{asked['background_terms']} terms"
    if edition := fit.statistics.get("phase_table"):
        yield "phase table", str(edition)
    yield "made by", f"version {fit.run.function_version}, release {fit.run.release}, run {fit.run_id}"
