"""Where the greys of pore, oxide and metal lie.

Pore and metal show in flat pixels. Oxide rims are often too thin for that, and blurred edges pass through
every grey between; so the oxide's grey is read only from pixels that are flatter than a bare edge could be
at their grey, and not curved as a pinched pore is: the cores of rims. A class far from metal, pore and its
prior is found in the same way, for the rule asks for flat ground and for no grey in particular. Where less
than 0.15 % of the picture is such ground, no grey is read and the prior stands: 70 % of the way from pore
to metal, about the yield of dense iron oxides and oxyhydroxides in backscattered electrons [1]_; nothing is
called oxide then.

References
----------
.. [1] Reuter, Proc. 6th Int. Conf. X-ray Optics and Microanalysis (1972) 121: backscatter yield by atomic
   number (from memory), weighted by mass; Fe3O4 lies at 0.76, FeOOH at 0.67 of the way from resin to iron.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from teardown.science.errors import MeasurementError
from teardown.science.stereology.classes import Levels
from teardown.science.stereology.edges import Relief, edge_width, flatness
from teardown.science.stereology.noise import Grey, Mask, gradient
from teardown.science.stereology.peaks import Peak, find_peaks

PRIOR_PLACE = 0.70
# Crests of plates and lifted shells: a faint blur before they are read; the bend that rims on metal show too;
# and by how much the grey reads too low for what is beyond it. So told from 40 pictures of known truth with
# plates, shells, islands and rims to 0.02 of the contrast (root mean square); 57 phantoms and pictures of a
# third kind, with rims alone, bend half of the least at most. Own derivation, no outside value found
BEND_CALMER_PX, LEAST_BEND, LOWERED_BY_BEND = 0.7, 0.0025, 6.0
# no oxide is this near to pore, as a share of the way to metal; and the grey of what was never scanned
NEAR_PORE, FULLY_BLACK = 0.25, 0.004


class OneGrey(MeasurementError):
    """The picture shows one grey only."""

    code = "stereology.E012"
    hint = "A section with pore and metal is needed, neither black nor burnt out."


class LevelsOutOfOrder(MeasurementError):
    """The levels do not rise from pore over oxide to metal."""

    code = "stereology.E015"
    hint = "Set pore darkest, metal brightest, and every oxide between them."


@dataclass(frozen=True, slots=True)
class LevelSearch:
    """Levels with what they rest on: the blur, noise left, the share of pixels that lie on oxide plateaus,
    metal's shoulder on its dark side, and by how much the oxide's grey may read too low."""

    levels: Levels
    edge_sigma_px: float
    noise_left: float
    plateau_share: float
    shoulder: float = 0.0
    lowered: float = 0.0


def find_levels(calm: Grey, valid: Mask | None = None, *, edge_sigma_px: float | None = None) -> LevelSearch:
    """Find the class levels of a denoised picture whose gain has been divided out.

    Raises
    ------
    OneGrey
        If there are not two clear greys.
    NoEdges
        If there is no clear edge from which the blur can be told.
    """
    relief = Relief.of(calm)
    steep = relief.steep
    inside = np.ones(calm.shape, bool) if valid is None else valid
    pore, metal, bright = _ends(calm, steep, inside)
    contrast = metal.grey - pore.grey
    noise_left = max(metal.half_width, pore.half_width) / 1.177
    place = (calm - pore.grey) / contrast
    steep = steep / contrast
    sigma = edge_sigma_px or edge_width(place, steep, valid)
    flat = flatness(place, relief, contrast, sigma)
    peaks, share = _plateaus(place, flat, inside, noise_left / contrast)
    lowered = _lowered(peaks, place, np.where(inside, flat, 0), sigma, noise_left / contrast)
    if peaks:
        oxides = tuple(pore.grey + peak.grey * contrast for peak in peaks)
        count = share * float(np.count_nonzero(inside))
        error = peaks[-1].half_width / 1.177 * contrast / np.sqrt(max(count / 25, 1))
        levels = Levels(
            pore.grey, oxides, metal.grey, bright.grey if bright else None, "automatic", float(error)
        )
    else:
        prior = (pore.grey + PRIOR_PLACE * contrast,)
        levels = Levels(
            pore.grey, prior, metal.grey, bright.grey if bright else None, "prior", 0.1 * contrast
        )
    return LevelSearch(levels, sigma, noise_left / contrast, share, _shoulder(place, steep, inside), lowered)


def _shoulder(place: Grey, steep: Grey, inside: Mask) -> float:
    """Tell how much more of the flat metal lies on the dark side of its peak than on the bright side.

    Oxide too close to metal to have a peak of its own shows as a shoulder; symmetric noise shows nothing.
    """
    steps = steep[inside]
    flat = inside & (steep < np.quantile(steps[:: max(steps.size // 400_000, 1)], 0.5)) & (place > 0.87)
    greys = place[flat]
    above = greys[greys > 1] - 1
    if above.size < 500:
        return 0.0
    reach = 2 * 1.4826 * float(np.median(above))
    return float(np.mean(greys < 1 - reach) - np.mean(greys > 1 + reach))


def _ends(calm: Grey, steep: Grey, inside: Mask) -> tuple[Peak, Peak, Peak | None]:
    """Find the pore and the metal peak among flat pixels, and a peak brighter than metal."""
    flat = inside & (steep <= np.quantile(steep[inside][:: max(calm.size // 400_000, 1)], 0.5))
    greys = calm[flat]
    low, high = np.quantile(greys[:: max(len(greys) // 400_000, 1)], [0.001, 0.999])
    span = float(high - low)
    if span < 0.05:
        raise OneGrey(f"All but a few pixels lie within {span:.1%} of full scale.")
    peaks = find_peaks(
        greys,
        low=float(low) - 0.1 * span,
        high=float(high) + 0.1 * span,
        smooth=0.012 * span,
        least_mass=0.004,
    )
    if len(peaks) < 2:
        raise OneGrey("The greys form a single peak.")
    top = peaks[-1]
    if len(peaks) > 2 and _is_beyond_metal(peaks[0], peaks[1:]):
        pore = _pore_of(peaks[:-1])
        return pore, peaks[-2], top
    pore = _pore_of(peaks)
    return pore, top, _sparse_bright(calm, inside, pore, top)


def _pore_of(peaks: list[Peak]) -> Peak:
    """Tell pore from what is darker still, a frame of black or voids that no resin filled: the next peak is
    too near for oxide, and what is darker is black itself or holds little. The last peak is metal."""
    dark, *others = peaks
    near = len(others) > 1 and others[0].grey - dark.grey < NEAR_PORE * (others[-1].grey - dark.grey)
    if not near:
        return dark
    little = dark.mass < 0.05 and others[0].mass > 4 * dark.mass
    return others[0] if little or dark.grey <= FULLY_BLACK else dark


def _sparse_bright(calm: Grey, inside: Mask, pore: Peak, metal: Peak) -> Peak | None:
    """Find particles too few to make a peak: cores well above metal, with room round them."""
    threshold = metal.grey + max(0.2 * (metal.grey - pore.grey), 6 * metal.half_width)
    above = (inside & (calm > threshold)).astype(np.uint8)
    core = cv2.erode(above, np.ones((3, 3), np.uint8)) > 0
    count = np.count_nonzero(core)
    if count < max(2e-4 * calm.size, 50):
        return None
    return Peak(float(np.median(calm[core])), count / calm.size, float(calm[core].std()))


def _is_beyond_metal(pore: Peak, solid: list[Peak]) -> bool:
    """Tell a sparse peak brighter than metal from metal itself: it holds little, and far more lies just
    below it."""
    top, below = solid[-1], solid[-2]
    return (
        top.mass < 0.05
        and below.mass > 4 * top.mass
        and (top.grey - pore.grey) > 1.1 * (below.grey - pore.grey)
    )


def _plateaus(place: Grey, flat: Grey, inside: Mask, noise_left: float) -> tuple[list[Peak], float]:
    """Find one or two oxide greys among pixels that no blurred edge explains; also their share of all
    pixels."""
    ceiling = 1 - max(3.5 * noise_left, 0.06)
    still = inside & (place > 0.25) & (place < ceiling)
    still &= flat > 0
    peaks = find_peaks(
        place[still],
        weights=flat[still] ** 2,
        low=0.1,
        high=1.1,
        smooth=max(0.015, noise_left * 0.6),
        least_mass=0.1,
        valley=0.85,
    )
    # the foot of the metal peak is cut off by the ceiling and looks like a peak of its own there
    peaks = [peak for peak in peaks if 0.28 < peak.grey < ceiling - 0.025]
    share = float(np.mean(still[inside] & (place[inside] < ceiling - 0.05)))
    if share < 0.0015:
        return [], share
    peaks = sorted(sorted(peaks, key=lambda peak: -peak.mass)[:2], key=lambda peak: peak.grey)
    return peaks, share


def _lowered(peaks: list[Peak], place: Grey, flat: Grey, sigma: float, noise_left: float) -> float:
    """Estimate how much too low an oxide's grey reads, as a share of the contrast, where it lies in thin
    plates or lifted shells: pore on both sides lowers a crest.

    A crest bends downward as much as the blur has lowered it, to first order by half the squared blur times
    its second derivative. Of that the flattest pixels, which alone are read, show a share.
    """
    if not peaks:
        return 0.0
    bend = cv2.Laplacian(cv2.GaussianBlur(place, (0, 0), BEND_CALMER_PX), cv2.CV_32F)
    most = 0.0
    for peak in peaks:
        near = (flat > 0) & (np.abs(place - np.float32(peak.grey)) < max(0.04, 1.5 * noise_left))
        if np.count_nonzero(near) >= 500:
            every = slice(None, None, max(np.count_nonzero(near) // 200_000, 1))
            most = max(most, -(sigma**2) / 4 * _middle(bend[near][every], flat[near][every] ** 2))
    return LOWERED_BY_BEND * max(most - LEAST_BEND, 0.0)


def _middle(values: NDArray[np.float32], weights: NDArray[np.float32]) -> float:
    """Give the weighted median."""
    order = np.argsort(values)
    sums = np.cumsum(weights[order], dtype=np.float64)
    return float(values[order][np.searchsorted(sums, sums[-1] / 2)])


def with_levels(
    calm: Grey, levels: Levels, valid: Mask | None = None, *, edge_sigma_px: float | None = None
) -> LevelSearch:
    """Take pinned levels as they are, and tell only the blur and the noise that is left from the picture.

    Raises
    ------
    LevelsOutOfOrder
        If the levels do not rise from pore over oxide to metal.
    """
    check_levels(levels)
    steep = gradient(calm)
    inside = np.ones(calm.shape, bool) if valid is None else valid
    place = (calm - np.float32(levels.pore)) / np.float32(levels.contrast)
    sigma = edge_sigma_px or edge_width(place, steep / np.float32(levels.contrast), valid)
    deep = inside & (np.abs(place - 1) < 0.15) & (steep < np.median(steep[inside]))
    noise_left = (
        float(1.4826 * np.median(np.abs(place[deep] - np.median(place[deep])))) if deep.any() else 0.0
    )
    return LevelSearch(levels, sigma, noise_left, 0.0)


def levels_from_thresholds(pore: float, metal: float, lower: float, upper: float) -> Levels:
    """Give levels for two thresholds that a person set, on the scale of the greys.

    The oxide's grey is taken half-way between the greys that either threshold alone would speak for.

    Raises
    ------
    LevelsOutOfOrder
        If pore, the thresholds and metal do not rise in this order.
    """
    oxide = ((2 * lower - pore) + (2 * upper - metal)) / 2
    step = 0.02 * (metal - pore)
    oxide = min(max(oxide, pore + step), metal - step)
    levels = Levels(pore, (oxide,), metal, source="manual", thresholds=(lower, upper))
    check_levels(levels)
    return levels


def check_levels(levels: Levels) -> None:
    """Refuse levels that do not rise from pore over oxide to metal by at least a thousandth of full scale.

    Raises
    ------
    LevelsOutOfOrder
    """
    row = [levels.pore, *levels.oxides, levels.metal] + ([levels.bright] if levels.bright else [])
    steps = np.diff(row)
    if levels.thresholds is not None:
        steps = np.concatenate([steps, np.diff([levels.pore, *levels.thresholds, levels.metal])])
    if not levels.oxides or not np.isfinite(row).all() or steps.min() < 1e-3:
        told = ", ".join(f"{grey:.3f}" for grey in row)
        more = "; thresholds {:.3f} and {:.3f}".format(*levels.thresholds) if levels.thresholds else ""
        raise LevelsOutOfOrder(f"The levels are {told}, from pore to metal{more}.")
