"""Write ``tests/samples/micrographs/porespy.npz``: pictures and numbers of an independent library.

porespy (MIT licence) draws structures of four kinds and measures them; its tree of dependencies is too large
for every run of the tests, so pictures and numbers are frozen. To write them anew, in an environment of its
own::

    pip install porespy==3.2.0
    python tests/outside/porespy_pictures.py
"""

import sys
from pathlib import Path

import numpy as np

TARGET = Path(__file__).parent.parent / "samples" / "micrographs" / "porespy.npz"
SIDE = 320
RADII = (1, 2, 3, 4, 5, 6, 7, 8, 10, 12, 14, 16, 20, 24, 28, 32)
LAGS = 40


def pores_of(generators, kind):
    """Draw pores, True, in one of four ways."""
    from scipy.stats import norm

    shape = [SIDE, SIDE]
    if kind == "overlapping spheres":
        return generators.overlapping_spheres(shape=shape, r=11, porosity=0.5, seed=11)
    if kind == "blobs":
        return generators.blobs(shape=shape, porosity=0.55, blobiness=1.2, seed=12)
    if kind == "cells":
        return generators.voronoi_edges(shape=shape, ncells=60, r=4, seed=13)
    return generators.polydisperse_spheres(shape=shape, porosity=0.45, dist=norm(12, 4), r_min=6, seed=14)


def chords_of(apply_chords, pores, axis):
    """Give the lengths of all chords along an axis that no rim cuts: on every second line, then on those
    between, for chords on neighbouring lines would touch."""
    found = []
    for first in (0, 1):
        part = pores[first:] if axis == 1 else pores[:, first:]
        chords = apply_chords(part, spacing=1, axis=axis, trim_edges=False, label=True)
        lengths = np.bincount(chords.ravel())[1:]
        ends = np.concatenate([np.take(chords, place, axis=axis) for place in (0, -1)])
        lengths[np.unique(ends[ends > 0]) - 1] = 0
        found.append(lengths[lengths > 0])
    return np.concatenate(found)


def main():
    """Draw, measure, write."""
    import porespy

    kinds = ("overlapping spheres", "blobs", "cells", "spheres of many sizes")
    kept = {"kinds": np.array(kinds), "version": np.array(porespy.__version__), "radii": np.array(RADII)}
    for number, kind in enumerate(kinds):
        pores = np.asarray(pores_of(porespy.generators, kind), bool)
        thickness = porespy.filters.local_thickness(pores, sizes=list(RADII))
        correlation = porespy.metrics.two_point_correlation(pores, bins=np.arange(LAGS + 1) + 0.5)
        lengths = np.concatenate([chords_of(porespy.filters.apply_chords, pores, axis) for axis in (0, 1)])
        kept |= {
            f"pores {number}": np.packbits(pores),
            f"porosity {number}": np.array(porespy.metrics.porosity(pores)),
            f"thickness {number}": np.array([np.mean(thickness[pores] == r) for r in (0, *RADII)]),
            f"lags {number}": np.asarray(correlation.distance, np.float32),
            # theirs is given as a share of the porosity
            f"chance {number}": np.asarray(correlation.probability * pores.mean(), np.float32),
            f"mean chord {number}": np.array(lengths.mean()),
            f"chords {number}": np.array(len(lengths)),
        }
        print(kind, pores.mean(), kept[f"mean chord {number}"], file=sys.stderr)
    TARGET.parent.mkdir(parents=True, exist_ok=True)
    np.savez_compressed(TARGET, **kept)


if __name__ == "__main__":
    main()
