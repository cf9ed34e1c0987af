"""Least squares with the linear part solved inside: scales and background drop out of the search.

Variable projection after Golub & Pereyra 1973 (SIAM J. Numer. Anal. 10, 413) in the short form of Kaufman
1975 (BIT 15, 49), with a damped Gauss-Newton step and Gaussian priors on what moves.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Linear:
    """The linear part at one point: coefficients (0 where held at the bound) and which of them are free."""

    coefficients: Array
    free: NDArray[np.bool_]
    residual: Array  # weighted, shape (points,)


def solve_linear(columns: Array, target: Array, non_negative: NDArray[np.bool_]) -> Linear:
    """Solve columns · c = target in least squares with some of c not below zero.

    Parameters
    ----------
    columns : ndarray, shape (points, m)
        Weighted columns.
    target : ndarray, shape (points,)
        Weighted observations.
    non_negative : ndarray of bool, shape (m,)
    """
    size = np.sqrt((columns**2).sum(axis=0))
    usable = size > 1e-12 * max(size.max(), 1e-300)
    scaled = columns / np.where(usable, size, 1.0)
    gram, right = scaled.T @ scaled, scaled.T @ target
    free = usable.copy()
    c = np.zeros(len(size))
    for _ in range(3 * len(size)):
        c[:] = 0.0
        index = np.flatnonzero(free)
        c[index] = np.linalg.solve(gram[np.ix_(index, index)] + 1e-12 * np.eye(len(index)), right[index])
        below = non_negative & free & (c < 0)
        if below.any():
            free[np.argmin(np.where(below, c, 0.0))] = False
            continue
        pull = right - gram @ c
        held = usable & non_negative & ~free & (pull > 1e-9 * np.abs(right).max())
        if not held.any():
            break
        free[np.argmax(np.where(held, pull, -np.inf))] = True
    return Linear(c / np.where(usable, size, 1.0), free, target - scaled @ c)


@dataclass(frozen=True, slots=True)
class Trial:
    """The problem at one set of parameters: weighted columns, and their slopes for given coefficients."""

    columns: Array
    slopes: Callable[[Array], Array]


@dataclass(frozen=True, slots=True)
class Solution:
    """Where the search ended; ``slopes`` are weighted derivatives by the k free parameters."""

    theta: Array
    linear: Linear
    columns: Array
    slopes: Array
    chi2: float


def search(
    trial: Callable[[Array, bool], Trial],
    theta: Array,
    free: Sequence[int],
    target: Array,
    non_negative: NDArray[np.bool_],
    prior_mean: Array,
    prior_sigma: Array,
    bounds: tuple[Array, Array],
    *,
    max_steps: int = 12,
    tolerance: float = 1e-4,
) -> Solution:
    """Move the free parameters until the weighted squares and the priors are least.

    Parameters
    ----------
    trial : callable
        trial(theta, with_slopes) builds the problem there.
    theta : ndarray, shape (parameters,)
    free : sequence of int
    target : ndarray, shape (points,)
        Weighted observations.
    prior_mean, prior_sigma : ndarray, shape (parameters,)
    bounds : pair of ndarray
    tolerance : float
        Relative fall of the sum below which the search ends.
    """
    index = np.array(free, dtype=int)
    theta = theta.copy()
    damping = 1e-3
    now = trial(theta, True)
    linear = solve_linear(now.columns, target, non_negative)
    cost = _cost(linear, theta, index, prior_mean, prior_sigma)
    for _ in range(max_steps if len(index) else 0):
        slopes = now.slopes(linear.coefficients)
        inner = _project(now.columns[:, linear.free], slopes)
        pull = (prior_mean - theta)[index] / prior_sigma[index] ** 2
        gradient = inner.T @ linear.residual + pull
        curvature = inner.T @ inner + np.diag(prior_sigma[index] ** -2.0)
        better = False
        for _ in range(6):
            move = np.linalg.solve(curvature + damping * np.diag(np.diag(curvature)), gradient)
            move *= min(1.0, 3.0 / max(float(np.max(np.abs(move) / prior_sigma[index])), 1e-12))
            there = theta.copy()
            there[index] = np.clip(theta[index] + move, bounds[0][index], bounds[1][index])
            then = trial(there, True)
            linear_then = solve_linear(then.columns, target, non_negative)
            cost_then = _cost(linear_then, there, index, prior_mean, prior_sigma)
            if cost_then < cost:
                better = True
                break
            damping = max(damping * 10, 1e-3)
        if not better:
            break
        fall = (cost - cost_then) / cost
        theta, now, linear, cost = there, then, linear_then, cost_then
        damping = max(damping / 10, 1e-7)
        if fall < tolerance:
            break
    return Solution(
        theta,
        linear,
        now.columns,
        now.slopes(linear.coefficients),
        float(linear.residual @ linear.residual),
    )


def _cost(linear: Linear, theta: Array, index: NDArray[np.int_], mean: Array, sigma: Array) -> float:
    """Add the squares of the residuals and of the priors."""
    return float(linear.residual @ linear.residual + (((theta - mean)[index] / sigma[index]) ** 2).sum())


def _project(columns: Array, slopes: Array) -> Array:
    """Take out of the slopes what the linear columns can make up for."""
    size = np.sqrt((columns**2).sum(axis=0))
    scaled = columns / size
    gram = scaled.T @ scaled + 1e-12 * np.eye(len(size))
    return np.asarray(slopes - scaled @ np.linalg.solve(gram, scaled.T @ slopes), dtype=np.float64)
