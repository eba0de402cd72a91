"""Descent over directions: the least of a noisy function of lines through the origin, by few evaluations."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

_SHRINK = 0.4
_REACH = 1.6
_NEXT, _LAST = [1, 2, 0], [2, 0, 1]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Descent:
    """Where a descent ended, and all that it tried.

    Attributes
    ----------
    direction : (3,) float64
        The unit vector of the least cost found.
    cost : float
        That cost.
    directions : (n, 3) float64
        Every direction tried.
    costs : (n,) float64
        Their costs.
    """

    direction: FloatArray
    cost: float
    directions: FloatArray
    costs: FloatArray


def descend(
    cost_of: Callable[[FloatArray], FloatArray],
    start: ArrayLike,
    *,
    first_rad: float,
    last_rad: float,
    start_cost: float | None = None,
) -> Descent:
    """Walk downhill from a direction; a direction and its opposite are the same.

    Parameters
    ----------
    cost_of : callable
        Takes unit vectors, shape (n, 3), and returns their costs, shape (n,).
    start : (3,) float64
        Unit vector.
    first_rad, last_rad : float
        Angle of the first ring around the best direction, and of the least.
    start_cost : float, optional
        The cost of the start where it is known.

    Returns
    -------
    Descent
        The best of the directions tried.

    Notes
    -----
    A ring of six around the best direction so far, less those next to an earlier trial, and all trials nearby
    are fitted by a quadratic (least squares, so that noise averages out), whose minimum within reach is tried
    as well. The ring shrinks when the best direction stays within it. See Conn, Scheinberg and Vicente,
    "Introduction to derivative-free optimization" (SIAM 2009), chapters 3 and 10, for models on poised sample
    sets.

    Examples
    --------
    >>> aim = np.array([0.6, 0.0, 0.8])
    >>> found = descend(lambda d: 1.0 - (d @ aim) ** 2, [0.7, 0.1, 0.7], first_rad=0.1, last_rad=0.02)
    >>> bool(np.degrees(np.arccos(found.direction @ aim)) < 0.05)
    True
    """
    centre = np.asarray(start, dtype=np.float64)
    tried = centre[None]
    costs = cost_of(tried) if start_cost is None else np.array([start_cost])
    radius, turn = first_rad, 0.0
    while radius >= last_rad:
        fresh = _untried(_around(centre, _ring(radius, turn)), tried, 0.5 * radius)
        if len(fresh):
            tried, costs = np.vstack([tried, fresh]), np.concatenate([costs, cost_of(fresh)])
        guess = _model_minimum(centre, tried, costs, radius)
        if guess is not None:
            tried, costs = np.vstack([tried, guess]), np.concatenate([costs, cost_of(guess)])
        best = tried[np.argmin(costs)]
        if np.linalg.norm(_seen_from(centre, best[None])) < 0.95 * radius:
            radius *= _SHRINK
        centre, turn = best, turn + 0.5
    at = int(np.argmin(costs))
    return Descent(direction=tried[at], cost=float(costs[at]), directions=tried, costs=costs)


def _ring(radius: float, turn: float) -> FloatArray:
    angle = (np.arange(6) + turn) * np.pi / 3.0
    return np.asarray(np.tan(radius) * np.column_stack([np.cos(angle), np.sin(angle)]))


def _untried(directions: FloatArray, tried: FloatArray, apart_rad: float) -> FloatArray:
    """Leave out directions that lie next to one that was tried; rings overlap where a descent moves on."""
    return np.asarray(directions[np.abs(directions @ tried.T).max(axis=1) < np.cos(apart_rad)])


def _tangents(centre: FloatArray) -> FloatArray:
    """Return two unit vectors across a direction, shape (2, 3)."""
    least = int(np.argmin(np.abs(centre)))
    one, two = (least + 1) % 3, (least + 2) % 3
    side = np.zeros(3)
    side[one], side[two] = -centre[two], centre[one]
    side /= np.hypot(side[one], side[two])
    return np.stack([side, centre[_NEXT] * side[_LAST] - centre[_LAST] * side[_NEXT]])


def _around(centre: FloatArray, places: FloatArray) -> FloatArray:
    """Return the unit vectors at places of the tangent plane, shape (n, 2)."""
    away = centre + places @ _tangents(centre)
    return np.asarray(away / np.linalg.norm(away, axis=1)[:, None])


def _seen_from(centre: FloatArray, directions: FloatArray) -> FloatArray:
    """Return places of directions on the tangent plane; those across the centre lie far out."""
    along = directions @ centre
    return np.asarray((directions @ _tangents(centre).T) / np.where(along == 0.0, 1e-9, along)[:, None])


def _model_minimum(
    centre: FloatArray, tried: FloatArray, costs: FloatArray, radius: float
) -> FloatArray | None:
    """Return the minimum, within reach, of the quadratic through what was tried nearby, shape (1, 3)."""
    place = _seen_from(centre, tried) / np.tan(radius)
    near = np.linalg.norm(place, axis=1) < _REACH
    if near.sum() < 6:
        return None
    u, v = place[near].T
    terms = np.column_stack([np.ones_like(u), u, v, u * u, u * v, v * v])
    _, a, b, c, d, e = np.linalg.lstsq(terms, costs[near], rcond=None)[0]
    bend = np.array([[2.0 * c, d], [d, 2.0 * e]])
    least = float(np.linalg.eigvalsh(bend)[0])
    if least <= 1e-12 * max(abs(a), abs(b), 1e-300):
        return None
    step = -np.linalg.solve(bend, [a, b])
    length = float(np.linalg.norm(step))
    return _around(centre, (step * min(1.0, _REACH / max(length, 1e-300)) * np.tan(radius))[None])
