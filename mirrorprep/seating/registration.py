"""Settling the ring of skin around the part on the recipient's skin."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.errors import GeometryError
from mirrorprep.geometry.rigid_fit import motion, moved, turn_deg
from mirrorprep.geometry.signed_distance import DistanceField, Foot

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

MOST_POINTS: Final = 4000
ROUNDS: Final = 40
FACING: Final = 0.5
LEAST_WIDTH_MM: Final = 0.05
SETTLED_MM: Final = 1e-5
LEAST_GRIP: Final = 0.01
REACH_MM: Final = 15.0
LEAST_COVER: Final = 0.6
_ROBUST: Final = 3.0


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class RingFit:
    """How the ring of skin around the part settled.

    Attributes
    ----------
    matrix : (4, 4) float64
        The movement, proper and rigid.
    shift_mm, turn_deg : float
        How far the ring's centre moved, and the angle it turned by.
    freedoms : int
        Of six, those that the skin determined; along the others nothing was moved.
    rms_mm, rms_before_mm : float
        Root mean square of the ring's distance from the skin, robustly weighted, after and before.
    share : float
        Share of the ring that the robust weights kept.
    """

    matrix: FloatArray
    shift_mm: float
    turn_deg: float
    freedoms: int
    rms_mm: float
    rms_before_mm: float
    share: float


def settle_ring(points: FloatArray, normals: FloatArray, skin: DistanceField) -> RingFit:
    """Return the small movement that brings a ring of skin closest to the recipient's skin.

    Parameters
    ----------
    points, normals : (n, 3) float64
        The ring, placed, with outward unit normals.
    skin : DistanceField
        The recipient's skin.

    Returns
    -------
    RingFit

    Raises
    ------
    GeometryError
        If the recipient's skin is missing under more than 40 % of the ring.

    Notes
    -----
    Gauss-Newton steps on the signed distances along the skin's normals (Y. Chen and G. Medioni, Image and
    Vision Computing 10 (1992) 145-155) with Geman-McClure weights of a width that follows the median
    residual. Movements along which the ring slides (mean squared normal motion below a hundredth of the
    square of the motion) are not made: there the placement by plane or landmarks stands.
    """
    pick = np.unique(np.linspace(0, len(points) - 1, min(len(points), MOST_POINTS)).astype(np.int64))
    points, normals = points[pick], normals[pick]
    _refuse_missing(points, skin)
    center = points.mean(axis=0)
    size = float(np.sqrt(((points - center) ** 2).sum(axis=1).mean()))
    total, before = np.eye(4), np.nan
    freedoms = 0
    for _ in range(ROUNDS):
        now = moved(points, total)
        foot = skin.at(now, reach_mm=REACH_MM)
        weight = _weights(foot, normals @ total[:3, :3].T)
        if np.isnan(before):
            before = _rms(foot, weight)
        step, freedoms = _step(now, foot, weight, size)
        total = motion(step, moved(center[None], total)[0]) @ total
        if np.abs(step[:3]).max() * size + np.abs(step[3:]).max() < SETTLED_MM:
            break
    foot = skin.at(moved(points, total), reach_mm=REACH_MM)
    weight = _weights(foot, normals @ total[:3, :3].T)
    return RingFit(
        matrix=total,
        shift_mm=float(np.linalg.norm(moved(center[None], total)[0] - center)),
        turn_deg=turn_deg(total),
        freedoms=freedoms,
        rms_mm=_rms(foot, weight),
        rms_before_mm=before,
        share=float(weight.mean()),
    )


def _refuse_missing(points: FloatArray, skin: DistanceField) -> None:
    known = skin.at(points, reach_mm=REACH_MM).known
    if known.mean() < LEAST_COVER:
        x, y, z = points[~known].mean(axis=0)
        raise GeometryError(
            f"The recipient scan is missing under {100.0 * (1.0 - known.mean()):.0f} % of the part's margin, "
            f"near ({x:.0f}, {y:.0f}, {z:.0f}) mm (limit {100.0 * (1.0 - LEAST_COVER):.0f} %).",
            remedy="Scan the recipient side with at least 15 mm of skin around the part, or check the "
            "mirror plane or landmarks.",
        )


def _weights(foot: Foot, normals: FloatArray) -> FloatArray:
    """Return Geman-McClure weights, zero where the skin is unknown or faces another way."""
    fits = foot.known & (np.einsum("ij,ij->i", normals, foot.normals) > FACING)
    if not fits.any():
        return np.zeros(len(normals))
    residual = np.where(fits, foot.distance_mm, 0.0)
    width = max(_ROBUST * 1.4826 * float(np.median(np.abs(residual[fits]))), LEAST_WIDTH_MM)
    return np.where(fits, 1.0 / (1.0 + (residual / width) ** 2) ** 2, 0.0)


def _rms(foot: Foot, weight: FloatArray) -> float:
    residual = np.where(weight > 0.0, foot.distance_mm, 0.0)
    total = float(weight.sum())
    return float(np.sqrt((weight * residual**2).sum() / total)) if total > 0.0 else float("nan")


def _step(now: FloatArray, foot: Foot, weight: FloatArray, size: float) -> tuple[FloatArray, int]:
    """Return one Gauss-Newton step (rotation vector, shift) and the number of freedoms it used."""
    kept = weight > 0.0
    if kept.sum() < 6:
        return np.zeros(6), 0
    arm = now[kept] - now.mean(axis=0)
    normal, residual, w = foot.normals[kept], foot.distance_mm[kept], weight[kept]
    slope = np.concatenate([np.cross(arm, normal) / size, normal], axis=1)
    information = (slope.T * w) @ slope / w.sum()
    pull = -(slope.T * w) @ residual / w.sum()
    values, vectors = np.linalg.eigh(information)
    firm = values > LEAST_GRIP
    step = vectors[:, firm] @ ((vectors[:, firm].T @ pull) / values[firm])
    step[:3] /= size
    return step, int(firm.sum())
