"""All that is known of a field once it is measured: what its flags are read from."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from teardown.science.errors import Remark
from teardown.science.estimate import Estimate
from teardown.science.stereology.classes import BRIGHT, METAL, OXIDE, PORE
from teardown.science.stereology.edge_shapes import EdgeShape
from teardown.science.stereology.interfaces import Sums
from teardown.science.stereology.levels import LevelSearch
from teardown.science.stereology.noise import Grey
from teardown.science.stereology.ratios import Parts
from teardown.science.stereology.rims import Thickness
from teardown.science.stereology.sensitivity import Sensitivity
from teardown.science.stereology.settings import Settings
from teardown.science.stereology.shading import Gain

# Oxide within ten widths of the noise from metal: corners and clefts look like it here and there, as small
# bodies. Of 40 such pictures of known truth, the four that bore more than 2.5 points of coverage in small
# bodies read five to ten points too much; the others bore less than two, and read at most three too much
NEAR_METAL, MOST_SCATTERED = 10.0, 0.025
# Particles that lie anywhere border on pore or oxide about as often as these fill the picture; the last of
# the metal within its oxide less than half as often. Fewer particles than this may lie anyhow by chance
LEAST_OPEN, RING_PX, FEWEST_BRIGHT = 0.5, (2, 5), 6
# Metal that is less than this share of the oxide has oxide round it; particles lie anywhere
SCARCE, MOST_BESIDE = 0.25, 0.6


@dataclass(frozen=True, slots=True)
class Facts:
    """All that is known of a field once it is measured.

    ``calm`` and ``labels`` are the greys and classes of the whole, or of the middle of a large picture;
    ``trained`` the out-of-bag accuracy where classes are by strokes; ``edges`` the shape of edges called
    bare; ``as_read`` the coverage that was seen and not called oxide; ``outline_factor`` by how
    much the metal outline is longer than it reads; ``small_share`` the share of the oxide in small bodies;
    ``solid`` the shares that lie at the black and the white end even once noise is calmed.
    """

    white: float
    black: float
    calm: Grey
    labels: NDArray[np.uint8]
    gain: Gain
    noise: float
    search: LevelSearch
    unresolved_share: float
    sums: Sums
    estimates: dict[str, Estimate]
    doubt: Sensitivity
    pixel_size_um: float | None
    settings: Settings
    rims: Thickness | None
    near: dict[str, float]
    trained: float | None = None
    edges: EdgeShape | None = None
    as_read: float | None = None
    outline_factor: float = 1.0
    small_share: float = 0.0
    solid: tuple[float, float] = (0.0, 0.0)


def remark(code: str, level: str, message: str, value: float | None, remedy: str) -> Remark:
    return Remark(code, level, message, value, "", remedy)  # type: ignore[arg-type]


def enclosed_bright(facts: Facts) -> bool:
    """Tell whether what is brighter than metal lies within it far more than anywhere: then it may be metal
    itself, and what is called metal its oxide."""
    if facts.trained is not None or facts.search.levels.bright is None:
        return False
    bright = (facts.labels == BRIGHT).astype(np.uint8)
    if cv2.connectedComponents(bright)[0] <= FEWEST_BRIGHT:  # one of them is what is not bright
        return False
    open_beside, open_anywhere = _shares(facts, bright, (PORE, OXIDE), METAL)
    return open_beside < LEAST_OPEN * open_anywhere


def scarce_metal(facts: Facts) -> bool:
    """Tell whether metal is little beside the oxide and lies anywhere: then it may be particles brighter than
    metal, and the metal be called oxide."""
    metal, oxide = (int(facts.sums.counts[code]) for code in (METAL, OXIDE))
    if facts.trained is not None or facts.search.levels.bright is not None or metal > SCARCE * oxide:
        return False
    beside, anywhere = _shares(facts, (facts.labels == METAL).astype(np.uint8), (PORE,), OXIDE)
    return beside > MOST_BESIDE * anywhere


def _shares(facts: Facts, bodies: NDArray[np.uint8], some: tuple[int, ...], rest: int) -> tuple[float, float]:
    """Give the share of some classes, among these and the rest, beside bodies and in the whole picture."""
    away = cv2.distanceTransform(1 - bodies, cv2.DIST_L2, cv2.DIST_MASK_5)
    ring = (away > RING_PX[0]) & (away <= RING_PX[1])
    one, other = (
        float(sum(held[code] for code in some) / max(sum(held[code] for code in (*some, rest)), 1))
        for held in (np.bincount(facts.labels[ring], minlength=5), facts.sums.counts)
    )
    return one, other


def scattered_oxide(facts: Facts) -> float:
    """Give the coverage that hangs on small bodies of a grey close to metal's; 0 where there is little."""
    search = facts.search
    coverage = facts.estimates.get("oxide_coverage")
    near = 1 - max(search.levels.oxide_places) < NEAR_METAL * max(search.noise_left, 1e-6)
    if facts.trained is not None or coverage is None or not near:
        return 0.0
    # small bodies have about twice as much outline for their area as large ones
    scattered = 2 * facts.small_share * coverage.value
    return scattered if scattered > MOST_SCATTERED else 0.0


def open_sides(
    facts: Facts, bound: dict[str, Parts] | None, *, unseen: bool
) -> tuple[dict[str, float], dict[str, float]]:
    """Give how much lower and higher a quantity may be for what was seen and not called oxide, for films that
    cannot be seen, and for what is called oxide and may be none."""
    above: dict[str, float] = {}
    for key in ("oxide_fraction", "oxide_share_of_solid", "oxide_coverage", "wetted_oxide_share"):
        if key not in facts.estimates:
            continue
        value = facts.estimates[key].value
        most = bound[key].value if bound else None
        if unseen and key in ("oxide_coverage", "wetted_oxide_share"):
            most = 1.0
        if most is not None and most > value:
            above[key] = most - value
    scattered = scattered_oxide(facts)
    return {"oxide_coverage": scattered} if scattered else {}, above


def opened(
    estimates: dict[str, Estimate], below: dict[str, float], above: dict[str, float]
) -> dict[str, Estimate]:
    """Widen intervals by what is open on either side."""
    return {
        key: replace(
            one,
            low=max(one.low - below.get(key, 0.0), 0.0),
            high=min(one.high + above[key], 1.0) if key in above else one.high,
        )
        for key, one in estimates.items()
    }
