"""Standing: whether a mould stands on its bottom while it is poured."""

from dataclasses import asdict, dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.mould.frame import MouldFrame
from mirrorprep.mould.layout import Layout
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.section import hull_section
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]

TIP_DEG: Final = 10.0
"""Tilt that a standing mould should bear before it falls: common practice, no source."""

_ON_FLOOR_MM: Final = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How a closed mould stands with its pouring cup up.

    Attributes
    ----------
    tip_deg : float
        Tilt at which it falls, toward the nearest edge of its bottom, empty or full, whichever is less; 0 or
        below when it does not stand by itself. Mould and casting are taken as equally dense: printed plastics
        and casting materials lie within a fifth of each other.
    base_mm : (float, float)
        Extent of the bottom across and along the pull.
    """

    tip_deg: float
    base_mm: tuple[float, float]

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        return asdict(self)


def standing(layout: Layout) -> Standing:
    """Return how a mould stands on its bottom, empty and full.

    Examples
    --------
    A box of 40 mm, 30 mm to its centre of mass, tips over its edge at atan(20 / 30).

    >>> from mirrorprep.solid.primitives import box
    >>> body = box([40, 60, 40])
    >>> round(tip_deg(body.mesh.vertices, body.mass_properties.centroid_mm), 1)
    33.7
    """
    outside, cavity = layout.outside, layout.cavity
    full = np.asarray(outside.mass_properties.centroid_mm, dtype=np.float64)
    hollow = np.asarray(cavity.mass_properties.centroid_mm, dtype=np.float64)
    share = cavity.volume_mm3 / outside.volume_mm3
    empty = (full - share * hollow) / (1.0 - share)
    points = outside.mesh.vertices
    base = points[points[:, 1] < points[:, 1].min() + _ON_FLOOR_MM][:, [0, 2]]
    across, along = np.ptp(base, axis=0).tolist()
    return Standing(
        tip_deg=min(tip_deg(points, centroid) for centroid in (full, empty)), base_mm=(across, along)
    )


def tip_deg(points: FloatArray, centroid: FloatArray) -> float:
    """Return the tilt at which a body falls that stands with v up on its lowest points.

    Parameters
    ----------
    points : (n, 3) float64
        Its vertices; those at the bottom carry it.
    centroid : (3,) float64
        Its centre of mass.
    """
    floor = float(points[:, 1].min())
    base = points[points[:, 1] < floor + _ON_FLOOR_MM][:, [0, 2]]
    loops = hull_section(base).loops if len(base) > 2 else []
    if not loops:
        return 0.0
    start, stop = loops[0], np.roll(loops[0], -1, axis=0)
    edge = (stop - start) / np.linalg.norm(stop - start, axis=1, keepdims=True)
    over = np.asarray(centroid)[[0, 2]] - start
    inward = edge[:, 0] * over[:, 1] - edge[:, 1] * over[:, 0]
    return float(np.degrees(np.arctan2(inward.min(), centroid[1] - floor)))


def standing_findings(layout: Layout) -> list[Finding]:
    """Return a finding on a mould that falls at a small tilt or does not stand at all."""
    found = standing(layout)
    if found.tip_deg >= TIP_DEG:
        return []
    does = f"falls when it is tilted by {found.tip_deg:.0f}°" if found.tip_deg > 0.0 else "does not stand"
    return [
        Finding(
            code="mould-tips",
            severity=Severity.CAUTION,
            message=f"The mould {does} on its bottom of {found.base_mm[0]:.0f} by {found.base_mm[1]:.0f} mm "
            f"(limit {TIP_DEG:g}°).",
            where=(_middle_of_base(layout.outside, layout.frame),),
            measured=found.tip_deg,
            limit=TIP_DEG,
            remedy="Build it with feet, or hold it in a stand while pouring.",
        )
    ]


def _middle_of_base(outside: Solid, frame: MouldFrame) -> tuple[float, float, float]:
    points = outside.mesh.vertices
    base = points[points[:, 1] < points[:, 1].min() + _ON_FLOOR_MM]
    x, y, z = frame.points_to_part((base.min(axis=0) + base.max(axis=0)) / 2.0).tolist()
    return x, y, z
