"""Grains that lie flat: the one-parameter correction of March and Dollase."""

import numpy as np
from numpy.typing import NDArray

from teardown.science.crystallography.symmetry import Cell, reciprocal_metric

Array = NDArray[np.float64]


def squared_cosines(
    equivalents: tuple[NDArray[np.int_], ...], axis: tuple[int, int, int], cell: Cell
) -> tuple[Array, NDArray[np.intp]]:
    """Give cos² of the angle between each equivalent and the axis (a reciprocal direction), and whose it is.

    Both arrays have one entry for each equivalent of each reflection.
    """
    metric = reciprocal_metric(cell)
    all_hkl = np.concatenate(equivalents)
    owner = np.repeat(np.arange(len(equivalents)), [len(e) for e in equivalents])
    pole = np.array(axis)
    along = all_hkl @ metric @ pole
    lengths = np.einsum("ni,ij,nj->n", all_hkl, metric, all_hkl) * (pole @ metric @ pole)
    return np.clip(along**2 / lengths, 0.0, 1.0), owner


def march_dollase(cos2: Array, owner: NDArray[np.intp], n: int, r: float) -> tuple[Array, Array]:
    """Give the mean correction of each of n reflections and its derivative by ln r.

    Dollase 1986, J. Appl. Cryst. 19, 267, for specimens that turn about their normal or are well spread.
    r below 1 means that plates lie flat; r = 1 means no preference.
    """
    base = r * r * cos2 + (1 - cos2) / r
    value = base**-1.5
    slope = -1.5 * base**-2.5 * (2 * r * r * cos2 - (1 - cos2) / r)
    count = np.bincount(owner, minlength=n)
    return np.bincount(owner, value, n) / count, np.bincount(owner, slope, n) / count
