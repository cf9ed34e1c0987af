"""What one field of view gave, with all that made it."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from teardown.science.errors import Remark
from teardown.science.estimate import Estimate
from teardown.science.stereology.classes import Levels
from teardown.science.stereology.gaps import GapCurve
from teardown.science.stereology.interfaces import Sums, add_up
from teardown.science.stereology.pooling import FieldSummary
from teardown.science.stereology.ratios import Parts
from teardown.science.stereology.rims import Thickness
from teardown.science.stereology.sensitivity import Slopes
from teardown.science.stereology.settings import VERSION, Settings
from teardown.science.stereology.shading import Gain
from teardown.science.stereology.structure import Structure


@dataclass(frozen=True, slots=True)
class FieldResult:
    """What one field gave, with all that made it.

    Attributes
    ----------
    estimates : dict of Estimate
        By quantity; lengths in micrometres where the pixel size is known, else in pixels.
    parts : dict of Parts
        Numerators and denominators in pixels: what pooling adds.
    sampling_error, threshold_uncertainty : dict of float
        Standard uncertainties, in the estimate's unit: of the field as a sample, and of the levels.
    labels : ndarray of uint8, shape (rows, columns)
        0 pore, 1 oxide, 2 metal, 3 left out, 4 brighter than metal.
        Of a large picture they lie in a nameless file, mapped into memory.
    tiles : list of Sums
        Counts and neighbour pairs of each tile, row after row.
    near_coverage : dict of float
        Coverage with a gap allowed between oxide and metal, by the gap in micrometres; empty without a scale.
    gap_curve : GapCurve
        The same for gaps in pixels, from which a scale that is known later gives it.
    structure : Structure
        Two-point correlation, chords and openings, from the middle of the field.
    trained : str, optional
        Digest of what was learnt from strokes, where classes are by strokes.
    open_below, open_above : dict of float
        How much lower or higher shares of oxide may be for what cannot be seen or told; in the intervals.
    slopes : Slopes, optional
        How the quantities hang on the levels: where they were read again with the levels shifted.
    """

    estimates: dict[str, Estimate]
    parts: dict[str, Parts]
    sampling_error: dict[str, float]
    threshold_uncertainty: dict[str, float]
    half_range: dict[str, float]
    labels: NDArray[np.uint8] = field(repr=False)
    tiles: list[Sums] = field(repr=False)
    flags: tuple[Remark, ...]
    histogram: tuple[float, ...] = field(repr=False)
    levels: Levels
    edge_sigma_px: float
    false_rim_px: float
    noise: float
    noise_left: float
    gain: Gain
    integral_range_px: float
    detection_limit_px: float
    unresolved_share: float
    outline_factor: float
    rims: Thickness | None
    near_coverage: dict[str, float]
    gap_curve: GapCurve = field(repr=False)
    pore_openings: dict[str, float]
    structure: Structure = field(repr=False)
    pixel_size_um: float | None
    settings: Settings
    trained: str | None = None
    open_below: dict[str, float] = field(default_factory=dict)
    open_above: dict[str, float] = field(default_factory=dict)
    slopes: Slopes | None = field(default=None, repr=False)
    version: str = VERSION

    @property
    def sums(self) -> Sums:
        """Counts and pairs of the whole field."""
        return add_up(self.tiles)

    def summary(self) -> FieldSummary:
        """Give what pooling needs."""
        return FieldSummary(
            self.parts,
            self.sampling_error,
            self.threshold_uncertainty,
            self.pixel_size_um,
            self.open_below,
            self.open_above,
        )
