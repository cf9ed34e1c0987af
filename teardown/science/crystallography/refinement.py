"""One fit of one set of phases to one pattern, in stages, from scales alone to everything that may move."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from teardown.science.crystallography.background import hump_columns, smooth_columns
from teardown.science.crystallography.least_squares import Solution, Trial, search
from teardown.science.crystallography.parameters import Optics, Parameter, parameters
from teardown.science.crystallography.pattern_model import Column, PhasePattern, column
from teardown.science.crystallography.phases import Phase
from teardown.science.crystallography.radiation import Radiation

Array = NDArray[np.float64]

DISPLACEMENTS_DEG = (0.0, -0.08, 0.08, -0.16, 0.16, -0.24, 0.24)


@dataclass(frozen=True, slots=True)
class Recipe:
    """How a fit is made: background terms, humps (centre, full width), what may move, and the ruler."""

    optics: Optics
    background_terms: int = 8
    humps: tuple[tuple[float, float], ...] = ()
    texture: bool = True
    zero_free: bool = False
    ruler: str | None = None
    k_beta: bool = False


class Refinement:
    """A pattern, the phases offered for it, and the state of their fit.

    ``theta`` are the parameters, ``scales`` one number for each phase, ``names`` the background's rest.
    """

    def __init__(
        self,
        two_theta_deg: Array,
        counts: Array,
        sigma: Array,
        phases: Sequence[Phase],
        beam: Radiation,
        recipe: Recipe,
    ) -> None:
        """Compile the phases and set every parameter to where its prior stands."""
        self.x, self.y, self.weight = two_theta_deg, counts, 1 / sigma
        self.phases, self.beam, self.recipe = tuple(phases), beam, recipe
        self.parameters: tuple[Parameter, ...] = parameters(
            phases,
            beam,
            recipe.optics,
            recipe.ruler,
            zero_free=recipe.zero_free,
            k_beta=recipe.k_beta,
        )
        self.mean = np.array([p.mean for p in self.parameters])
        self.sigma = np.array([p.sigma for p in self.parameters])
        self.bounds = (
            np.array([p.low for p in self.parameters]),
            np.array([p.high for p in self.parameters]),
        )
        top = float(two_theta_deg[-1])
        self.patterns = [
            PhasePattern(i, p, beam, recipe.optics, top, self.parameters) for i, p in enumerate(phases)
        ]
        smooth = smooth_columns(two_theta_deg, recipe.background_terms)
        humps = hump_columns(two_theta_deg, recipe.humps)
        self.background_columns = np.column_stack([smooth, humps])
        held = [True] * len(phases) + [False] * smooth.shape[1] + [True] * humps.shape[1]
        self.non_negative = np.array(held)
        self.theta = self.mean.copy()
        self.free: list[int] = []
        self.solution: Solution | None = None

    def trial(self, theta: Array, with_slopes: bool = True, known: Sequence[Column] = ()) -> Trial:
        """Build the weighted problem at a set of parameters; ``known`` are columns of the first phases."""
        rest = self.patterns[len(known) :]
        drawn = [*known, *(column(self.x, p, theta, self.free, with_slopes=with_slopes) for p in rest)]
        columns = np.column_stack([d.value for d in drawn] + [self.background_columns]) * self.weight[:, None]
        return Trial(columns, lambda c: self._slopes(drawn, c))

    def _slopes(self, drawn: Sequence[Column], coefficients: Array) -> Array:
        """Sum the weighted derivatives of all phases for each free parameter."""
        total = np.zeros((len(self.x), len(self.free)))
        for d, scale in zip(drawn, coefficients, strict=False):
            if scale > 0:
                for j, k in enumerate(self.free):
                    if k in d.slopes:
                        total[:, j] += scale * d.slopes[k]
        return total * self.weight[:, None]

    def search(self, kinds: Sequence[str], *, steps: int = 8, tolerance: float = 1e-4) -> Solution:
        """Free the named kinds of parameter and search."""
        self.free = [i for i, p in enumerate(self.parameters) if p.kind in kinds]
        return self.search_free(steps, tolerance)

    def search_free(self, steps: int, tolerance: float = 1e-4) -> Solution:
        """Search with what is free now, and take over where it ends."""
        self.solution = search(
            self.trial,
            self.theta,
            self.free,
            self.y * self.weight,
            self.non_negative,
            self.mean,
            self.sigma,
            self.bounds,
            max_steps=steps,
            tolerance=tolerance,
        )
        self.theta = self.solution.theta
        return self.solution

    @property
    def scales(self) -> Array:
        """Scale of each phase, zero where the fit wants none of it."""
        return self.solved.linear.coefficients[: len(self.phases)]

    @property
    def solved(self) -> Solution:
        """Where the search stands; the scales alone are solved if it never ran."""
        if self.solution is None:
            self.search((), steps=0)
        assert self.solution is not None
        return self.solution

    @property
    def curves(self) -> tuple[Array, Array]:
        """Background, shape (points,), and the share of each phase, shape (phases, points), in counts."""
        columns = self.solved.columns / self.weight[:, None]
        n, c = len(self.phases), self.solved.linear.coefficients
        return columns[:, n:] @ c[n:], (columns[:, :n] * c[:n]).T

    @property
    def reduced_chi2(self) -> float:
        """Weighted squares over points less what was fitted; the square of GoF."""
        solved = self.solved
        return solved.chi2 / max(len(self.x) - len(self.free) - len(self.non_negative), 1)

    def covariance(self) -> Array:
        """Covariance of the scales, shape (phases, phases), from the whole normal matrix with its priors.

        Scales that were held at zero are in it too. It is scaled by GoF² where that exceeds one.
        """
        solved, m = self.solved, len(self.non_negative)
        moving = [j for j, k in enumerate(self.free) if self._counts(k)]
        whole = np.column_stack([solved.columns, solved.slopes[:, moving]])
        size = np.sqrt((whole**2).sum(axis=0))
        size[size == 0] = 1.0
        normal = (whole / size).T @ (whole / size)
        for row, j in enumerate(moving, start=m):
            normal[row, row] += (self.sigma[self.free[j]] * size[row]) ** -2.0
        inverse = np.linalg.pinv(normal, rcond=1e-13, hermitian=True) / np.outer(size, size)
        n = len(self.phases)
        self.esd_theta = dict(
            zip(
                [self.free[j] for j in moving],
                np.sqrt(np.diag(inverse)[m:] * max(1.0, self.reduced_chi2)),
                strict=True,
            )
        )
        return np.asarray(inverse[:n, :n] * max(1.0, self.reduced_chi2))

    def _counts(self, k: int) -> bool:
        """Say whether a parameter belongs to the instrument or to a phase that is there."""
        phase = self.parameters[k].phase
        return phase is None or bool(self.scales[phase] > 0)

    def index(self, kind: str, phase: int | None = None, part: int = 0) -> int | None:
        """Find a parameter's place, or None if this fit has none."""
        return next(
            (i for i, p in enumerate(self.parameters) if (p.kind, p.phase, p.part) == (kind, phase, part)),
            None,
        )

    def adopt(self, other: "Refinement") -> None:
        """Take over the parameters of another fit, phase by phase."""
        theirs = {
            (p.kind, None if p.phase is None else other.phases[p.phase].key, p.part): other.theta[i]
            for i, p in enumerate(other.parameters)
        }
        for i, p in enumerate(self.parameters):
            key = (p.kind, None if p.phase is None else self.phases[p.phase].key, p.part)
            self.theta[i] = theirs.get(key, self.theta[i])


def settle(fit: Refinement) -> None:
    """Run the stages of a first fit: position, then cells and widths, then everything."""
    find_displacement(fit)
    fit.search(("displacement", "zero", "log_W"), steps=4, tolerance=0.02)
    fit.search(("displacement", "zero", "log_W", "cell", "log_X"), steps=5, tolerance=0.005)
    finish(fit, steps=10)


def finish(fit: Refinement, *, steps: int) -> None:
    """Free everything that the data can carry, and search."""
    kinds, strained, textured = all_kinds(fit)
    # A textured phase keeps its displacement factors: the two would trade against each other.
    held = [i for i in range(len(fit.phases)) if i in textured]
    fit.free = [
        i
        for i, p in enumerate(fit.parameters)
        if p.kind in kinds
        and not (p.kind == "Y" and p.phase not in strained)
        and not (p.kind in {"log_r", "log_thin"} and p.phase not in textured)
        and not (p.kind == "delta_B" and p.phase in held)
    ]
    fit.search_free(steps)


def all_kinds(fit: Refinement) -> tuple[set[str], set[int], set[int]]:
    """Say which kinds may move, which phases may show strain (S/N > 100), and which plates do (> 10)."""
    ratio = fit.scales / np.sqrt(np.maximum(np.diag(fit.covariance()), 1e-300))
    kinds = {
        "displacement",
        "zero",
        "log_W",
        "U",
        "V",
        "axial",
        "cell",
        "log_X",
        "Y",
        "overall_B",
        "k_beta",
        "delta_B",
        "log_r",
        "log_thin",
    }
    strained = {i for i, r in enumerate(ratio) if r > 100}
    textured = {
        i for i, r in enumerate(ratio) if r > 10 and fit.phases[i].texture_axis and fit.recipe.texture
    }
    return kinds, strained, textured


def find_displacement(fit: Refinement) -> None:
    """Try a few displacements with wide lines, so that the search begins on the right side of every peak."""
    at, width = fit.index("displacement"), fit.index("log_W")
    assert at is not None
    assert width is not None
    every = max(1, len(fit.x) // 1500)
    coarse = Refinement(
        fit.x[::every], fit.y[::every], 1 / fit.weight[::every], fit.phases, fit.beam, fit.recipe
    )
    coarse.theta = fit.theta.copy()
    coarse.theta[width] = np.log(0.03)
    best = (np.inf, 0.0)
    for shift in DISPLACEMENTS_DEG:
        coarse.theta[at] = shift
        best = min(best, (coarse.search((), steps=0).chi2, shift))
    fit.theta[at] = best[1]


# Places and gain of a hump: our own, no source
HUMP_D_A = (5.2, 4.6, 4.1, 3.7, 3.35, 3.05)  # where glass, gels and binders swell the background
HUMP_WIDTHS = (6.0, 9.0, 13.0)
HUMP_GAIN = (
    0.01  # a hump is taken when it explains this share of what is left over, and clearly more than noise
)


def found_hump(fit: Refinement) -> tuple[float, float] | None:
    """Look for a broad hump that the smooth background leaves over: its centre and full width, or None."""
    solved = fit.solved
    residual = solved.linear.residual
    columns = solved.columns[:, solved.linear.free]
    inner, _ = np.linalg.qr(columns / np.sqrt((columns**2).sum(axis=0)))
    noise = max(1.0, fit.reduced_chi2)

    def gain(centre: float, width: float) -> float:
        if not fit.x[0] + width / 3 < centre < fit.x[-1] - width or not 3.0 < width < 25.0:
            return 0.0
        bell = hump_columns(fit.x, ((centre, width),))[:, 0] * fit.weight
        bell -= inner @ (inner.T @ bell)
        return max(0.0, float(bell @ residual)) ** 2 / max(float(bell @ bell), 1e-300)

    places = [2 * float(np.degrees(np.arcsin(min(1.0, fit.beam.wavelength_A / (2 * d))))) for d in HUMP_D_A]
    best = max((gain(c, w), c, w) for c in places for w in HUMP_WIDTHS)
    if best[0] < max(HUMP_GAIN * solved.chi2, 50 * noise):
        return None
    for step in (1.6, 0.8, 0.4, 0.2):  # from the coarse grid to where it explains most
        _, c, w = best
        best = max(
            [(gain(c + i * step, w * (1 + 0.1 * j * step)), c + i * step, w * (1 + 0.1 * j * step))
             for i in (-1, 0, 1) for j in (-1, 0, 1)]
        )  # fmt: skip
    return best[1], best[2]


def with_hump(fit: Refinement, hump: tuple[float, float]) -> Refinement:
    """Give the fit anew with a hump in its background."""
    recipe = replace(fit.recipe, humps=(*fit.recipe.humps, hump))
    wider = Refinement(fit.x, fit.y, 1 / fit.weight, fit.phases, fit.beam, recipe)
    wider.adopt(fit)
    wider.search(())
    finish(wider, steps=6)
    return wider
