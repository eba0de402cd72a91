"""Membranes: the smoothest height over a triangulated sheet that keeps within a box at every node."""

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csr_array, diags_array

from mirrorprep.errors import UsageError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_MOST_ROUNDS = 50


def stiffness(nodes_uv: FloatArray, triangles: IntArray) -> csr_array:
    """Return the cotangent stiffness matrix of a flat triangulation, (n, n) sparse.

    Weights below a hair are raised to it, so that the matrix has the sign pattern which the active-set
    method needs; a Delaunay triangulation has such weights only along its rim.

    Examples
    --------
    >>> square = np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]])
    >>> stiffness(square, np.array([[0, 1, 2], [0, 2, 3]])).toarray()[0].round(3).tolist()
    [1.0, -0.5, -0.0, -0.5]
    """
    rows, columns, weights = [], [], []
    for k in range(3):
        a, b, c = triangles[:, k], triangles[:, (k + 1) % 3], triangles[:, (k + 2) % 3]
        p, q = nodes_uv[a] - nodes_uv[c], nodes_uv[b] - nodes_uv[c]
        cotangent = (p * q).sum(axis=1) / np.abs(p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0])
        rows += [a, b]
        columns += [b, a]
        weights += [cotangent / 2.0, cotangent / 2.0]
    count = len(nodes_uv)
    indices = (np.concatenate(rows), np.concatenate(columns))
    off = csr_array(coo_array((np.concatenate(weights), indices), shape=(count, count)))
    off.data = np.maximum(off.data, 1e-6)
    return csr_array(diags_array(np.asarray(off.sum(axis=1)).ravel()) - off)


def relax(
    matrix: csr_array,
    low_mm: FloatArray,
    high_mm: FloatArray,
    *,
    start_mm: FloatArray,
    groups: IntArray | None = None,
) -> FloatArray:
    """Minimise the membrane energy ½ xᵀ K x over low ≤ x ≤ high.

    Parameters
    ----------
    matrix : (n, n) sparse
        From `stiffness`.
    low_mm, high_mm : (n,) float64
        Least and greatest height per node; infinite where free, equal where the height is given. Where
        they cross, their mean is taken.
    start_mm : (n,) float64
        First guess, which decides only how many rounds are needed.
    groups : (n,) int64, optional
        Nodes of the same number move as one (a level pad); each node its own if not given.

    Returns
    -------
    (n,) float64
        Heights within the box.

    Raises
    ------
    UsageError
        If no node is bounded, so that any level would do.

    Notes
    -----
    Primal-dual active set: solve with the active nodes held at their bounds, then activate what left the
    box and release what is pushed back into it. M. Hintermüller, K. Ito, K. Kunisch, "The primal-dual
    active set strategy as a semismooth Newton method", SIAM Journal on Optimization 13 (2003) 865-888;
    for matrices of this sign pattern it ends after finitely many rounds from any start.

    Examples
    --------
    >>> chain = csr_array(np.array([[1.0, -1, 0], [-1, 2, -1], [0, -1, 1]]))
    >>> bound = np.inf
    >>> relax(chain, np.array([0, 2.0, 0]), np.array([0, bound, 0]), start_mm=np.zeros(3)).tolist()
    [0.0, 2.0, 0.0]
    """
    if not (np.isfinite(low_mm).any() or np.isfinite(high_mm).any()):
        raise UsageError("The membrane touches nothing.", remedy="Bound the height of at least one node.")
    label = np.arange(len(low_mm)) if groups is None else np.unique(groups, return_inverse=True)[1]
    count = int(label.max()) + 1
    gather = csr_array((np.ones(len(label)), (np.arange(len(label)), label)), shape=(len(label), count))
    low, high = np.full(count, -np.inf), np.full(count, np.inf)
    np.maximum.at(low, label, low_mm)
    np.minimum.at(high, label, high_mm)
    crossed = low > high
    low[crossed] = high[crossed] = (low[crossed] + high[crossed]) / 2.0
    start = np.zeros(count)
    start[label] = start_mm
    return np.asarray(_active_set(csr_array(gather.T @ matrix @ gather), low, high, start)[label])


def _active_set(matrix: csr_array, low: FloatArray, high: FloatArray, x: FloatArray) -> FloatArray:
    given = high - low <= 0.0
    at_low = x <= low
    at_high = (x >= high) & ~at_low
    if not (at_low | at_high).any():
        at_low, at_high = np.isfinite(low), np.isfinite(high) & ~np.isfinite(low)
    for _ in range(_MOST_ROUNDS):
        x = _held(matrix, np.where(at_low, low, np.where(at_high, high, np.nan)))
        pushed = matrix @ x
        hair = 1e-12 * max(float(np.abs(x).max()), 1.0)
        to_low = (x < low - hair) | (at_low & (given | (pushed > 0.0)))
        to_high = ((x > high + hair) | (at_high & (given | (pushed < 0.0)))) & ~to_low
        settled = bool((to_low == at_low).all() and (to_high == at_high).all())
        if settled or not (to_low | to_high).any():
            break
        at_low, at_high = to_low, to_high
    return np.clip(x, low, high)


def _held(matrix: csr_array, held: FloatArray) -> FloatArray:
    """Solve for the nodes whose held height is NaN, the others staying where they are held."""
    from scipy.sparse.linalg import splu

    free = np.isnan(held)
    x = np.where(free, 0.0, held)
    if free.any():
        load = -(matrix @ x)[free]
        inner = matrix[free][:, free].tocsc()
        factors = splu(
            inner, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True}
        )
        x[free] = factors.solve(load)
    return x
