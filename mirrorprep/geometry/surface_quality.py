"""Point spacing, noise and spikes of a scanned surface."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_NORMAL_SD_PER_MAD: Final = 1.482602218505602


@dataclass(frozen=True, slots=True, eq=False)
class Rings:
    """The neighbours of each vertex: a row-stochastic matrix that averages over them.

    Attributes
    ----------
    mean : (n, n) sparse
        Multiplied with positions it gives the mean of each vertex's neighbours.
    valence : (n,) int64
        Number of neighbours.
    inner : (n,) bool
        Vertices that have neighbours and lie on no open edge.
    """

    mean: Any
    valence: IntArray
    inner: BoolArray


def rings(edges: IntArray, open_edges: BoolArray, vertex_count: int) -> Rings:
    """Return the neighbourhoods from an edge table's edges and its marks of open ones.

    Examples
    --------
    >>> path = rings(np.array([[0, 1], [1, 2]]), np.array([True, False]), 3)
    >>> path.valence.tolist(), path.inner.tolist()
    ([1, 2, 1], [False, False, True])
    """
    rows, columns = np.concatenate([edges, edges[:, ::-1]]).T
    valence = np.bincount(rows, minlength=vertex_count)
    weights = 1.0 / valence[rows]
    mean = csr_array((weights, (rows, columns)), shape=(vertex_count,) * 2)
    inner = valence > 0
    inner[edges[open_edges].ravel()] = False
    return Rings(mean, valence, inner)


def noise_sd_mm(
    vertices: FloatArray, normals: FloatArray, around: Rings, *, sample: int = 20_000
) -> float | None:
    """Return the standard deviation of the point noise along the normal, or None for too few points.

    Parameters
    ----------
    vertices, normals : (n, 3) float64
        Positions in mm and unit normals.
    around : Rings
        The neighbourhoods.
    sample : int
        At most so many vertices, evenly spread over the list, are looked at.

    Notes
    -----
    The twice-applied umbrella difference cancels the curvature of a smooth surface and leaves noise times a
    gain known from its weights; the median absolute value over the vertices ignores edges and outliers.
    Independent noise is assumed: noise that the scanner has smoothed is underestimated, and a coarse mesh
    of a finely shaped surface reads as noise.
    """
    chosen = np.flatnonzero(around.inner)
    chosen = chosen[:: max(1, len(chosen) // sample)]
    if len(chosen) < 30:
        return None
    first = -around.mean[chosen]
    second = first @ around.mean
    own = csr_array((np.ones(len(chosen)), (np.arange(len(chosen)), chosen)), shape=first.shape)
    weights = csr_array(own + 2.0 * first - second)
    gain = np.sqrt(np.asarray(weights.multiply(weights).sum(axis=1)).ravel())
    residual = np.einsum("ij,ij->i", weights @ vertices, normals[chosen]) / gain
    return float(np.median(np.abs(residual)) * _NORMAL_SD_PER_MAD)


def spikes(vertices: FloatArray, around: Rings, *, slenderness: float = 2.5) -> IntArray:
    """Return the vertices that stand out of their neighbours like a needle.

    Parameters
    ----------
    vertices, normals : (n, 3) float64
        Positions and unit normals.
    around : Rings
        The neighbourhoods.
    slenderness : float
        Least ratio of a spike's height to the mean radius of its foot.

    Notes
    -----
    2.5 corresponds to a tip of about 44 degrees; a cube's corner has 0.7 (own choice).
    """
    foot = around.mean @ vertices
    reach = around.mean @ np.einsum("ij,ij->i", vertices, vertices) - np.einsum("ij,ij->i", foot, foot)
    radius = np.sqrt(np.maximum(reach, 0.0))
    height = np.linalg.norm(vertices - foot, axis=1)
    return np.flatnonzero(around.inner & (around.valence >= 3) & (height > slenderness * radius))
