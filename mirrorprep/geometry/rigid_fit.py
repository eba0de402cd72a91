"""The least-squares rigid motion, or motion with a reflection, between paired points."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class RigidFit:
    """A motion from source to target points and how well it fits.

    Attributes
    ----------
    matrix : (4, 4) float64
        Moves source points, as column vectors, onto the target; its determinant is 1, or −1 with a
        reflection.
    residual_mm : (n,) float64
        Distance left between each moved source point and its target.
    rms_mm : float
        Weighted root mean square of the residuals.
    spread_mm : (3,) float64
        Root mean square extent of the source points along their principal axes, largest first; the fit
        leaves a rotation open when the second is about zero.
    """

    matrix: FloatArray
    residual_mm: FloatArray
    rms_mm: float
    spread_mm: FloatArray


def rigid_fit(
    source: ArrayLike, target: ArrayLike, *, weights: ArrayLike | None = None, mirrored: bool = False
) -> RigidFit:
    """Return the motion that brings source points closest to their targets.

    Parameters
    ----------
    source, target : (n, 3) array
        Paired points, mm; at least three that are not in a row leave nothing open.
    weights : (n,) array, optional
        Weight of each pair, not negative; 1 each when left out.
    mirrored : bool
        Fit a motion that contains a reflection (determinant −1) instead of a proper one.

    Returns
    -------
    RigidFit

    Notes
    -----
    W. Kabsch, Acta Crystallographica A 32 (1976) 922-923 and A 34 (1978) 827-828; sign of the determinant
    after S. Umeyama, IEEE Transactions on Pattern Analysis and Machine Intelligence 13 (1991) 376-380.

    Examples
    --------
    >>> points = np.array([[0.0, 0, 0], [1, 0, 0], [0, 2, 0], [0, 0, 3]])
    >>> fit = rigid_fit(points, points + [5.0, 0, 0])
    >>> bool((fit.matrix[:3, 3] - [5.0, 0, 0]).round(9).any()), round(fit.rms_mm, 9)
    (False, 0.0)
    """
    a, b = np.asarray(source, dtype=np.float64), np.asarray(target, dtype=np.float64)
    w = np.ones(len(a)) if weights is None else np.asarray(weights, dtype=np.float64)
    total = float(w.sum())
    center_a, center_b = w @ a / total, w @ b / total
    spread_a, spread_b = a - center_a, b - center_b
    u, _, v = np.linalg.svd((spread_b.T * w) @ spread_a)
    wanted = -1.0 if mirrored else 1.0
    turn = (u * [1.0, 1.0, wanted * np.sign(np.linalg.det(u @ v))]) @ v
    matrix = np.eye(4)
    matrix[:3, :3], matrix[:3, 3] = turn, center_b - turn @ center_a
    residual = np.linalg.norm(a @ turn.T + matrix[:3, 3] - b, axis=1)
    extents = np.linalg.eigvalsh((spread_a.T * w) @ spread_a / total)[::-1]
    return RigidFit(
        matrix=matrix,
        residual_mm=residual,
        rms_mm=float(np.sqrt(w @ residual**2 / total)),
        spread_mm=np.sqrt(np.maximum(extents, 0.0)),
    )


def moved(points: FloatArray, matrix: FloatArray) -> FloatArray:
    """Return (n, 3) points moved by a 4 × 4 matrix.

    Examples
    --------
    >>> shift = np.eye(4)
    >>> shift[:3, 3] = [1.0, 2.0, 3.0]
    >>> moved(np.zeros((1, 3)), shift).tolist()
    [[1.0, 2.0, 3.0]]
    """
    return np.asarray(points @ matrix[:3, :3].T + matrix[:3, 3])


def turn_deg(matrix: FloatArray) -> float:
    """Return the angle of a proper motion's rotation, 0 to 180 degrees.

    Examples
    --------
    >>> quarter = np.array([[0.0, -1, 0, 0], [1, 0, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]])
    >>> turn_deg(quarter)
    90.0
    """
    r = matrix[:3, :3]
    axis = np.array([r[2, 1] - r[1, 2], r[0, 2] - r[2, 0], r[1, 0] - r[0, 1]])
    return float(np.degrees(np.arctan2(np.linalg.norm(axis), np.trace(r) - 1.0)))


def motion(vector: FloatArray, center: FloatArray) -> FloatArray:
    """Return the 4 × 4 motion that turns about a centre by a rotation vector and then shifts.

    Parameters
    ----------
    vector : (6,) float64
        Rotation vector in radians, then shift in mm.
    center : (3,) float64
        Point that the rotation leaves in place.

    Examples
    --------
    >>> motion(np.array([0.0, 0, np.pi / 2, 0, 0, 1]), np.array([1.0, 0, 0]))[:3, 3].round(9).tolist()
    [1.0, -1.0, 1.0]
    """
    angle = float(np.linalg.norm(vector[:3]))
    x, y, z = vector[:3] / angle if angle > 0.0 else np.zeros(3)
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    turn = np.eye(3) + np.sin(angle) * cross + (1.0 - np.cos(angle)) * cross @ cross
    matrix = np.eye(4)
    matrix[:3, :3], matrix[:3, 3] = turn, center - turn @ center + vector[3:]
    return matrix
