"""Shrinkage: scale of the cavity, and the size of the part before and after."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.errors import UsageError
from mirrorprep.pour.ranges import Range
from mirrorprep.solid.solid import Solid

Triple = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShrinkageReport:
    """What shrinkage does to the size of the part.

    Attributes
    ----------
    linear : Range
        Linear shrinkage of the material as a share; negative for expansion.
    allowed : tuple of 3 floats
        Linear shrinkage per axis that the cavity was scaled for.
    cavity_scale : tuple of 3 floats
        The cavity's size over the part's, 1 / (1 − allowed).
    part_size_mm, cavity_size_mm : tuple of 3 floats
        Wanted size and size of the cavity: the part before shrinking.
    casting_size_mm : tuple of 3 Range
        Expected size of the casting: the part after shrinking.
    worst_error_mm : float
        Largest difference between casting and part over the axes and the material's range.
    """

    linear: Range
    allowed: Triple
    cavity_scale: Triple
    part_size_mm: Triple
    cavity_size_mm: Triple
    casting_size_mm: tuple[Range, Range, Range]
    worst_error_mm: float

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        return {
            "linear": self.linear.as_dict(),
            "allowed": list(self.allowed),
            "cavity_scale": list(self.cavity_scale),
            "size_before_mm": list(self.cavity_size_mm),
            "size_after_mm": [size.as_dict() for size in self.casting_size_mm],
            "part_size_mm": list(self.part_size_mm),
            "worst_error_mm": self.worst_error_mm,
        }


def pattern_scale(linear: ArrayLike) -> NDArray[np.float64]:
    """Return the scale 1 / (1 − s) that makes up for a linear shrinkage s, per axis if given so.

    Raises
    ------
    UsageError
        If a share is not between −0.2 and 0.2.

    Examples
    --------
    >>> pattern_scale([0.01, 0.02]).round(7).tolist()
    [1.010101, 1.0204082]
    """
    shares = np.asarray(linear, dtype=np.float64)
    if not np.all(np.abs(shares) < 0.2):
        raise UsageError(
            f"A linear shrinkage of {shares.tolist()}.", remedy="Give a share such as 0.01 for 1 %."
        )
    return np.asarray(1.0 / (1.0 - shares))


def volumetric_shrinkage(linear: float) -> float:
    """Return the loss of volume 1 − (1 − s)³ for a linear shrinkage s.

    Examples
    --------
    >>> round(100 * volumetric_shrinkage(0.02), 4)
    5.8808
    """
    return 1.0 - (1.0 - linear) ** 3


def linear_shrinkage(volumetric: float) -> float:
    """Return the linear shrinkage 1 − (1 − v)^⅓ for a loss of volume v.

    Examples
    --------
    >>> round(100 * linear_shrinkage(0.0507), 2), round(100 * linear_shrinkage(0.0743), 2)
    (1.72, 2.54)
    """
    return float(1.0 - np.cbrt(1.0 - volumetric))


def allow_for_shrinkage(part: Solid, linear: float | Sequence[float], *, about_mm: ArrayLike) -> Solid:
    """Return the cavity for a part: scaled by 1 / (1 − s) about a fixed point.

    Parameters
    ----------
    part : Solid
        At its wanted size.
    linear : float or (3,)
        Linear shrinkage, equal or per axis.
    about_mm : (3,)
        The point that stays.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> round(allow_for_shrinkage(box([10, 10, 10]), 0.01, about_mm=(0, 0, 0)).volume_mm3, 4)
    1030.6102
    """
    scale = np.broadcast_to(pattern_scale(linear), (3,))
    about = np.asarray(about_mm, dtype=np.float64)
    matrix = np.eye(4)
    matrix[:3, :3] = np.diag(scale)
    matrix[:3, 3] = about - scale * about
    return part.transformed(matrix)


def shrinkage_report(
    cavity_size_mm: Sequence[float], *, linear: Range, allowed: float | Sequence[float] = 0.0
) -> ShrinkageReport:
    """Return the sizes before and after, from the cavity's size and what it was scaled for.

    Parameters
    ----------
    cavity_size_mm : (3,)
        Extent of the cavity along the axes.
    linear : Range
        Linear shrinkage of the material.
    allowed : float or (3,)
        Linear shrinkage that the cavity was scaled for; 0 when it was not scaled.

    Examples
    --------
    >>> report = shrinkage_report((60, 40, 20), linear=Range.of(0.02))
    >>> [round(size.typical, 2) for size in report.casting_size_mm]
    [58.8, 39.2, 19.6]
    """
    shares = np.broadcast_to(np.asarray(allowed, dtype=np.float64), (3,))
    scale = np.broadcast_to(pattern_scale(shares), (3,))
    cavity = np.asarray(cavity_size_mm, dtype=np.float64)
    part = cavity / scale
    bounds = np.stack([cavity * (1.0 - s) for s in (linear.high, linear.typical, linear.low)])
    sizes = [Range(*column) for column in bounds.T.tolist()]
    return ShrinkageReport(
        linear=linear,
        allowed=_triple(shares),
        cavity_scale=_triple(scale),
        part_size_mm=_triple(part),
        cavity_size_mm=_triple(cavity),
        casting_size_mm=(sizes[0], sizes[1], sizes[2]),
        worst_error_mm=float(np.abs(bounds - part).max()),
    )


def _triple(values: NDArray[np.float64]) -> Triple:
    x, y, z = values.tolist()
    return x, y, z
