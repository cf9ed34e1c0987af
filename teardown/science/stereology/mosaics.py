"""Large fields cut into tiles with a halo, so that memory is bounded and nothing shows at the seams."""

import numpy as np

from teardown.science.stereology.classes import Levels
from teardown.science.stereology.noise import Grey, Mask
from teardown.science.stereology.segmentation import Segmentation, Strictness, segment

TILE_PX = 2048
HALO_PX = 64
LARGEST_WHOLE = 6_000_000


def segment_any_size(
    calm: Grey,
    levels: Levels,
    sigma: float,
    *,
    tests: Strictness | None = None,
    valid: Mask | None = None,
    tile_px: int = TILE_PX,
    largest_whole: int = LARGEST_WHOLE,
) -> Segmentation:
    """Assign classes to a field of any size, as :func:`segment` does; large ones tile by tile.

    Every test looks at most a few blurs far, so that a halo of 64 pixels gives the tile's own pixels the
    classes that they have in the whole; only bodies of oxide at the limit of size that a seam cuts may
    differ.
    """
    if calm.size <= largest_whole:
        return segment(calm, levels, sigma, tests=tests, valid=valid)
    rows, columns = calm.shape
    labels = np.empty(calm.shape, np.uint8)
    unresolved = 0.0
    inside = 0
    last: Segmentation | None = None
    for top in range(0, rows, tile_px):
        for left in range(0, columns, tile_px):
            bottom, right = min(top + tile_px, rows), min(left + tile_px, columns)
            window = (
                slice(max(top - HALO_PX, 0), min(bottom + HALO_PX, rows)),
                slice(max(left - HALO_PX, 0), min(right + HALO_PX, columns)),
            )
            part = None if valid is None else valid[window]
            if part is not None and not part.any():
                labels[top:bottom, left:right] = 3
                continue
            last = segment(np.ascontiguousarray(calm[window]), levels, sigma, tests=tests, valid=part)
            down, across = top - window[0].start, left - window[1].start
            labels[top:bottom, left:right] = last.labels[
                down : down + bottom - top, across : across + right - left
            ]
            unresolved += last.unresolved_share * last.labels.size
            inside += last.labels.size
    if last is None:
        return segment(calm, levels, sigma, tests=tests, valid=valid)
    return Segmentation(labels, last.lower, last.upper, last.false_rim_px, unresolved / max(inside, 1))
