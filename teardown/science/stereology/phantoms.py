"""Invented sections whose truth is known exactly: convex grains thrown at random, each with a partial rim
of oxide.

A Boolean model: germs of a Poisson process carry convex polygons (many-cornered ones are discs to the eye).
A run of edges of each grain bears an oxide rim of its own thickness. Metal lies over oxide, oxide over
pore, bright particles over all. Its expectations follow in closed form from the grain's mean area,
perimeter and rim area [1]_.

References
----------
.. [1] Chiu, Stoyan, Kendall, Mecke, Stochastic Geometry and its Applications (2013), chapter 3: area
   fraction and boundary length of the planar Boolean model (formulas from memory; the tests confirm them by
   simulation).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log, pi, sqrt
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from teardown.science.stereology.classes import BRIGHT, METAL, OXIDE, PORE

SECOND_OXIDE = (
    5  # a second kind of oxide in the drawing only: told from the first by its grey, never by its class
)
Shape = Literal["disc", "polygon", "needle"]
Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Microstructure:
    """What a phantom section is made of. Lengths in pixels of the final image, fractions 0 to 1.

    ``metal`` is the expected metal fraction before bright particles are laid over it; ``covered`` the
    expected share of a grain's own outline under its rim; ``second_oxide`` the share of grains whose rim is
    of the second kind.
    """

    shape: Shape = "disc"
    metal: float = 0.4
    grain_radius_px: float = 18.0
    radius_cv: float = 0.4
    covered: float = 0.5
    rim_px: float = 6.0
    rim_cv: float = 0.25
    second_oxide: float = 0.0
    bright: float = 0.0
    bright_radius_px: float = 7.0


@dataclass(frozen=True, slots=True)
class Truth:
    """What is true of a section: area fractions of all pixels, metal outline per area, and its covered
    share."""

    porosity: float
    oxide_fraction: float
    metal_fraction: float
    bright_fraction: float
    outline_per_px: float
    coverage: float
    thickness_px: float


@dataclass(frozen=True, slots=True)
class Grain:
    """One grain: the corners of its outline and of its rim of oxide, if it bears any."""

    outline: Points
    rim: Points | None
    rim_code: int


@dataclass(frozen=True, slots=True)
class Section:
    """A drawn section: codes at ``oversampling`` times the final resolution, and the grains they were
    drawn from."""

    codes: NDArray[np.uint8]
    oversampling: int
    grains: tuple[Grain, ...]

    def truth(self) -> Truth:
        """Count areas on the fine codes, and outlines by walking every grain's edges."""
        return _truth_of(self.codes, self.grains, self.oversampling)


def expected(made_of: Microstructure) -> Truth:
    """Give the exact expectations of the model: over many sections the truths average to these."""
    shapes = _unit_shapes(made_of.shape)
    radius, rim = made_of.grain_radius_px, made_of.rim_px
    area = float(np.mean([_area(s) for s in shapes])) * radius**2 * (1 + made_of.radius_cv**2)
    perimeter = float(np.mean([_edges(s)[1].sum() for s in shapes])) * radius
    intensity = -log(1 - made_of.metal) / area
    rim_area = _expected_rim_area(made_of, shapes, radius, rim)
    bare_of_bright = 1 - made_of.bright
    metal = 1 - exp(-intensity * area)
    open_share = exp(-intensity * rim_area)
    oxide = (1 - metal) * (1 - open_share) * bare_of_bright
    outline = intensity * perimeter * (1 - metal) * bare_of_bright
    coverage = 1 - (1 - made_of.covered) * open_share
    return Truth(
        porosity=(1 - metal) * open_share * bare_of_bright,
        oxide_fraction=oxide,
        metal_fraction=metal * bare_of_bright,
        bright_fraction=made_of.bright,
        outline_per_px=outline,
        coverage=coverage,
        thickness_px=oxide / (outline * coverage) if coverage else 0.0,
    )


def draw_section(
    made_of: Microstructure, *, height: int, width: int, seed: int, oversampling: int = 4
) -> Section:
    """Throw the grains once and draw them.

    Returns
    -------
    Section
        Codes of shape (height * oversampling, width * oversampling): 0 pore, 1 oxide, 2 metal, 4 bright, 5
        second oxide.
    """
    rng = np.random.default_rng(seed)
    shapes = _unit_shapes(made_of.shape)
    codes = np.zeros((height * oversampling, width * oversampling), np.uint8)
    area = (
        float(np.mean([_area(s) for s in shapes])) * made_of.grain_radius_px**2 * (1 + made_of.radius_cv**2)
    )
    margin = made_of.grain_radius_px * 4.5 + made_of.rim_px * 3
    count = rng.poisson(-log(1 - made_of.metal) / area * (height + 2 * margin) * (width + 2 * margin))
    grains = [_throw(made_of, shapes, rng, span=(height, width), margin=margin) for _ in range(int(count))]
    for grain in grains:
        if grain.rim is not None:
            _fill(codes, grain.rim, grain.rim_code, oversampling)
    for grain in grains:
        _fill(codes, grain.outline, METAL, oversampling)
    if made_of.bright > 0:
        _scatter_bright(codes, made_of, rng, span=(height, width), oversampling=oversampling)
    return Section(codes, oversampling, tuple(grains))


def _throw(
    made_of: Microstructure,
    shapes: list[Points],
    rng: np.random.Generator,
    *,
    span: tuple[int, int],
    margin: float,
) -> Grain:
    unit = shapes[rng.integers(len(shapes))]
    centre = np.array([rng.uniform(-margin, span[1] + margin), rng.uniform(-margin, span[0] + margin)])
    turn = rng.uniform(0, 2 * pi)
    cos, sin = np.cos(turn), np.sin(turn)
    radius = _lognormal(rng, made_of.grain_radius_px, made_of.radius_cv)
    outline = unit @ np.array([[cos, sin], [-sin, cos]]) * radius + centre
    edges = len(outline)
    run = _covered_edges(made_of.covered, edges, rng)
    start = int(rng.integers(edges))
    thickness = _lognormal(rng, made_of.rim_px, made_of.rim_cv)
    code = SECOND_OXIDE if rng.random() < made_of.second_oxide else OXIDE
    return Grain(outline, _rim(outline, start, run, thickness) if run else None, code)


def _covered_edges(covered: float, edges: int, rng: np.random.Generator) -> int:
    """Draw how many edges bear oxide: none, all, or evenly between, with the asked mean share."""
    if covered in (0.0, 1.0):
        return int(covered) * edges
    spread = 2 * min(covered, 1 - covered) * 0.6
    if rng.random() < spread:
        return int(rng.integers(0, edges + 1))
    return edges if rng.random() < (covered - spread / 2) / (1 - spread) else 0


def _expected_rim_area(made_of: Microstructure, shapes: list[Points], radius: float, rim: float) -> float:
    """Mean area of a rim: thickness times covered length, plus the bevels at corners inside the run."""
    covered = made_of.covered
    if covered == 0:
        return 0.0
    square = rim**2 * (1 + made_of.rim_cv**2) / 2
    spread = 0.0 if covered in (0.0, 1.0) else 2 * min(covered, 1 - covered) * 0.6
    whole = covered if spread == 0 else (covered - spread / 2)
    totals = []
    for unit in shapes:
        edges, lengths = _edges(unit)
        bevels = float(_turns(edges).sum())
        count = len(lengths)
        runs = np.arange(0, count + 1)
        corners = np.where(runs == count, count, np.maximum(runs - 1, 0))
        mean_corner_share = whole + spread * float(corners.mean()) / count
        totals.append(covered * rim * radius * float(lengths.sum()) + square * bevels * mean_corner_share)
    return float(np.mean(totals))


def _rim(outline: NDArray[np.float64], start: int, run: int, thickness: float) -> NDArray[np.float64]:
    edges = len(outline)
    index = (start + np.arange(run)) % edges
    first, second = outline[index], outline[(index + 1) % edges]
    along = second - first
    outward = np.column_stack([along[:, 1], -along[:, 0]]) / np.hypot(*along.T)[:, None] * thickness
    outer = np.stack([first + outward, second + outward], axis=1).reshape(-1, 2)
    if run == edges:
        return outer
    inner = np.concatenate([second[::-1], first[:1]])
    return np.concatenate([outer, inner])


def _fill(codes: NDArray[np.uint8], corners: NDArray[np.float64], code: int, oversampling: int) -> None:
    # a pixel's centre lies at whole numbers for OpenCV and at halves here; 4 bits of sub-pixel place
    points = np.round((corners * oversampling - 0.5) * 16).astype(np.int32)
    cv2.fillConvexPoly(codes, points, code, shift=4) if code == METAL else cv2.fillPoly(
        codes, [points], code, shift=4
    )


def _scatter_bright(
    codes: NDArray[np.uint8],
    made_of: Microstructure,
    rng: np.random.Generator,
    *,
    span: tuple[int, int],
    oversampling: int,
) -> None:
    unit = _unit_shapes("disc")[0]
    area = _area(unit) * made_of.bright_radius_px**2 * 1.09
    margin = made_of.bright_radius_px * 3
    size = (span[0] + 2 * margin) * (span[1] + 2 * margin)
    for _ in range(int(rng.poisson(-log(1 - made_of.bright) / area * size))):
        centre = np.array([rng.uniform(-margin, span[1] + margin), rng.uniform(-margin, span[0] + margin)])
        _fill(codes, unit * _lognormal(rng, made_of.bright_radius_px, 0.3) + centre, BRIGHT, oversampling)


def _truth_of(codes: NDArray[np.uint8], grains: Sequence[Grain], oversampling: int) -> Truth:
    counts = np.bincount(codes.ravel(), minlength=6) / codes.size
    oxide_side, pore_side, outline = _walk(codes, grains, oversampling)
    oxide = float(counts[OXIDE] + counts[SECOND_OXIDE])
    area = codes.size / oversampling**2
    seen = oxide_side + pore_side
    coverage = oxide_side / seen if seen else 0.0
    return Truth(
        porosity=float(counts[PORE]),
        oxide_fraction=oxide,
        metal_fraction=float(counts[METAL]),
        bright_fraction=float(counts[BRIGHT]),
        outline_per_px=outline / area,
        coverage=coverage,
        thickness_px=oxide * area / (outline * coverage) if oxide_side else 0.0,
    )


def _walk(codes: NDArray[np.uint8], grains: Sequence[Grain], oversampling: int) -> tuple[float, float, float]:
    """Walk every grain's edges in half-pixel steps: length against oxide, against pore, and in all."""
    points, outward, length, owner = _steps(grains, 0.5)
    rows, columns = np.array(codes.shape) / oversampling
    inside = (points >= 0).all(1) & (points[:, 0] < columns) & (points[:, 1] < rows)
    points, outward, length, owner = points[inside], outward[inside], length[inside], owner[inside]
    open_air = ~_hidden(points, owner, grains)
    # one fine pixel outside the edge: the nearest place that is surely not the grain's own metal
    beside = np.floor((points + outward * (1.0 / oversampling)) * oversampling).astype(int)
    beside = np.clip(beside, 0, np.array(codes.shape[::-1]) - 1)
    found = codes[beside[:, 1], beside[:, 0]]
    seen = np.bincount(found[open_air], weights=length[open_air], minlength=6)
    # cusps too narrow for the fine grid read as metal: they count as outline, but say nothing of coverage
    outline = float(seen.sum() - seen[BRIGHT])
    return float(seen[OXIDE] + seen[SECOND_OXIDE]), float(seen[PORE]), outline


def _steps(
    grains: Sequence[Grain], step: float
) -> tuple[Points, Points, NDArray[np.float64], NDArray[np.int64]]:
    start = np.concatenate([grain.outline for grain in grains])
    along = np.concatenate([np.roll(grain.outline, -1, axis=0) - grain.outline for grain in grains])
    owner = np.repeat(np.arange(len(grains)), [len(grain.outline) for grain in grains])
    lengths = np.hypot(along[:, 0], along[:, 1])
    pieces = np.maximum(np.ceil(lengths / step).astype(int), 1)
    edge = np.repeat(np.arange(len(start)), pieces)
    part = (np.arange(len(edge)) - np.repeat(np.cumsum(pieces) - pieces, pieces) + 0.5) / pieces[edge]
    outward = np.column_stack([along[:, 1], -along[:, 0]]) / lengths[:, None]
    return start[edge] + along[edge] * part[:, None], outward[edge], (lengths / pieces)[edge], owner[edge]


def _hidden(points: Points, owner: NDArray[np.int64], grains: Sequence[Grain]) -> NDArray[np.bool_]:
    """Tell which outline points lie within the metal of another grain."""
    hidden = np.zeros(len(points), bool)
    for number, grain in enumerate(grains):
        low, high = grain.outline.min(axis=0), grain.outline.max(axis=0)
        near = np.flatnonzero((points >= low).all(1) & (points <= high).all(1) & (owner != number) & ~hidden)
        if len(near):
            hidden[near] = _within(points[near], grain.outline)
    return hidden


def _within(points: Points, outline: Points) -> NDArray[np.bool_]:
    along = np.roll(outline, -1, axis=0) - outline
    # inside a convex outline every edge has the point on its left; x and y are kept apart for speed
    x = points[:, :1] - outline[:, 0]
    y = points[:, 1:] - outline[:, 1]
    return np.asarray((along[:, 0] * y - along[:, 1] * x >= 0).all(axis=1))


def _unit_shapes(shape: Shape) -> list[Points]:
    """Give the fixed stock of convex outlines of about unit radius, corners in drawing order."""
    if shape == "disc":
        angle = np.arange(48) * 2 * pi / 48
        return [np.column_stack([np.cos(angle), np.sin(angle)])]
    rng = np.random.default_rng(20)
    squeeze = 0.45 if shape == "needle" else 0.85
    stock = []
    for corners in rng.integers(5, 10, size=24):
        angle = np.sort((np.arange(corners) + rng.uniform(-0.3, 0.3, corners)) * 2 * pi / corners)
        points = np.column_stack([np.cos(angle) / sqrt(squeeze), np.sin(angle) * sqrt(squeeze)])
        # three pieces an edge let a rim end within an edge
        following = np.roll(points, -1, axis=0)
        stock.append(
            np.stack([points + (following - points) * k / 3 for k in range(3)], axis=1).reshape(-1, 2)
        )
    return stock


def _edges(corners: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    along = np.roll(corners, -1, axis=0) - corners
    return along, np.hypot(along[:, 0], along[:, 1])


def _turns(along: NDArray[np.float64]) -> NDArray[np.float64]:
    unit = along / np.hypot(along[:, 0], along[:, 1])[:, None]
    following = np.roll(unit, -1, axis=0)
    return np.abs(unit[:, 0] * following[:, 1] - unit[:, 1] * following[:, 0])


def _area(corners: NDArray[np.float64]) -> float:
    x, y = corners.T
    return float(abs(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)) / 2)


def _lognormal(rng: np.random.Generator, mean: float, cv: float) -> float:
    spread = sqrt(log(1 + cv**2))
    return mean * exp(spread * rng.standard_normal() - spread**2 / 2)
