"""Printing the halves: how they lie, whether they fit the bed, and what overhangs."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass

import numpy as np
from numpy.typing import NDArray

from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]

OVERHANG_DEG = 45.0
"""Steepest overhang from the vertical that prints without support (trade pages)."""

_ON_BED_MM = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class PrintReport:
    """How one printed body lies on the bed.

    Attributes
    ----------
    size_mm : (float, float, float)
        Extent as it lies.
    fits_bed : bool
        True when it lies within the bed.
    bed_contact_mm2 : float
        Area that touches the bed.
    overhang_mm2, overhang_share : float
        Area that hangs over by more than 45° from the vertical and does not touch the bed, and its share of
        the whole surface: it wants support, or a printing process that needs none.
    """

    size_mm: tuple[float, float, float]
    fits_bed: bool
    bed_contact_mm2: float
    overhang_mm2: float
    overhang_share: float

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        return asdict(self)


def print_pose(solid: Solid, axes: FloatArray, bed_mm: Sequence[float]) -> FloatArray:
    """Return the 4 × 4 matrix that lays a half on the bed, in the positive octant.

    Parameters
    ----------
    solid : Solid
        In the part's coordinates.
    axes : (3, 3) float64
        A rotation: its columns become x, y and up. When only that fits the bed, x and y are turned by 90°.
    bed_mm : (3,)
        Room of the printer.
    """
    size = np.ptp(solid.mesh.vertices @ axes, axis=0)
    turned = (size[0] > bed_mm[0] or size[1] > bed_mm[1]) and size[1] <= bed_mm[0] and size[0] <= bed_mm[1]
    if turned:
        axes = np.column_stack([-axes[:, 1], axes[:, 0], axes[:, 2]])
    matrix = np.eye(4)
    matrix[:3, :3] = axes.T
    matrix[:3, 3] = -(solid.mesh.vertices @ axes).min(axis=0)
    return matrix


def print_report(mesh: ScanMesh, pose: FloatArray, bed_mm: Sequence[float]) -> PrintReport:
    """Return how a body lies on the bed.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> report = print_report(box([10, 20, 5], center_mm=[5, 10, 2.5]).mesh, np.eye(4), (220, 220, 250))
    >>> report.fits_bed, report.bed_contact_mm2, report.overhang_mm2
    (True, 200.0, 0.0)
    """
    corners = (mesh.vertices @ pose[:3, :3].T + pose[:3, 3])[mesh.faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]) / 2.0
    area = np.linalg.norm(normal, axis=1)
    on_bed = corners[:, :, 2].max(axis=1) < _ON_BED_MM
    down = -normal[:, 2] > np.sin(np.radians(OVERHANG_DEG)) * area * (1.0 + 1e-9)
    over = float(area[down & ~on_bed].sum())
    size = corners.reshape(-1, 3).max(axis=0)
    return PrintReport(
        size_mm=(float(size[0]), float(size[1]), float(size[2])),
        fits_bed=bool((size <= np.asarray(bed_mm) + 1e-6).all()),
        bed_contact_mm2=float(area[on_bed & (normal[:, 2] < 0.0)].sum()),
        overhang_mm2=over,
        overhang_share=over / float(area.sum()),
    )
