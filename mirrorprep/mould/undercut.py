"""Undercut: the volume that rigid mould halves trap, for a pull direction and a plane or any surface."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.errors import NoPartingError, UsageError
from mirrorprep.geometry.column_raster import ColumnGrid, Columns, raster
from mirrorprep.solid.primitives import frame_along
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_GOLDEN_ANGLE = np.pi * (3.0 - np.sqrt(5.0))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class TrappedVolume:
    """What two rigid halves trap along one pull direction, for every place of a parting plane.

    Attributes
    ----------
    direction : (3,) float64
        Unit pull direction.
    offset_mm, trapped_mm3 : (k,) float64
        Places of the plane ``direction · p = offset`` and the volume that both halves trap together.
    best_offset_mm, best_trapped_mm3 : float
        The best of all planes across the direction, exact for the columns, not only among those listed.
    bound_mm3 : float
        W: the least that any parting surface can trap along this direction.
    volume_mm3 : float
        Volume of the part as the columns see it.
    sampling_error : float
        That volume against the exact one, minus one.
    """

    direction: FloatArray
    offset_mm: FloatArray
    trapped_mm3: FloatArray
    best_offset_mm: float
    best_trapped_mm3: float
    bound_mm3: float
    volume_mm3: float
    sampling_error: float


def unit_direction(direction: ArrayLike) -> FloatArray:
    """Return a direction as a unit vector, or say that it is none."""
    vector = np.array(direction, dtype=np.float64)
    length = float(np.linalg.norm(vector)) if vector.shape == (3,) else 0.0
    if not np.isfinite(length) or length == 0.0:
        raise UsageError(
            f"{np.asarray(direction).tolist()} is not a direction.",
            remedy="Give three numbers, not all zero.",
        )
    return vector / length


def raster_frame(direction: ArrayLike) -> FloatArray:
    """Return a rotation whose third column is `direction`, turned about it by the golden angle.

    The turn keeps the columns from resonating with facets that are aligned with the axes.
    """
    u, v, pull = frame_along(direction).T
    cosine, sine = np.cos(_GOLDEN_ANGLE), np.sin(_GOLDEN_ANGLE)
    return np.column_stack([cosine * u + sine * v, cosine * v - sine * u, pull])


def raster_frames(directions: FloatArray) -> FloatArray:
    """Return `raster_frame` of each unit direction, shape (n, 3, 3)."""
    pull = np.asarray(directions, dtype=np.float64)
    row, least = np.arange(len(pull)), np.argmin(np.abs(pull), axis=1)
    one, two = (least + 1) % 3, (least + 2) % 3
    u = np.zeros_like(pull)
    u[row, one], u[row, two] = -pull[row, two], pull[row, one]
    u /= np.sqrt((u**2).sum(axis=1))[:, None]
    after, before = [1, 2, 0], [2, 0, 1]
    v = pull[:, after] * u[:, before] - pull[:, before] * u[:, after]
    cosine, sine = np.cos(_GOLDEN_ANGLE), np.sin(_GOLDEN_ANGLE)
    return np.stack([cosine * u + sine * v, cosine * v - sine * u, pull], axis=2)


def columns_along(
    vertices: FloatArray, faces: IntArray, direction: ArrayLike, *, columns: int
) -> tuple[Columns, float]:
    """Return the part's columns along a direction, and the area in mm² that each stands for."""
    turned = vertices @ raster_frame(direction)
    flat = turned[:, :2]
    grid = ColumnGrid.over(flat.min(axis=0), flat.max(axis=0), columns=columns)
    met = raster(turned, faces, grid)
    return met, grid.cell_area_mm2


def bound_mm3(columns: Columns, cell_area_mm2: float) -> float:
    """Return W, the sum over columns of top − bottom less the thickness: no height field traps less."""
    return float(columns.gap_mm.sum()) * cell_area_mm2


def best_plane(columns: Columns, cell_area_mm2: float) -> tuple[float, float]:
    """Return the offset of the best plane across the columns, and what it traps.

    Notes
    -----
    A plane at h traps W and, per column, the length by which h lies above the top or below the bottom. That
    sum is convex in h, and its slope counts tops below h against bottoms above h; so it is least at the
    median of all tops and bottoms.
    """
    filled = columns.filled
    top, bottom = columns.top_mm[filled], columns.bottom_mm[filled]
    if len(top) == 0:
        return 0.0, 0.0
    offset = float(np.median(np.concatenate([top, bottom])))
    missed = np.maximum(offset - top, 0.0).sum() + np.maximum(bottom - offset, 0.0).sum()
    return offset, float(columns.gap_mm.sum() + missed) * cell_area_mm2


def plane_trapped_mm3(columns: Columns, cell_area_mm2: float, offset_mm: FloatArray) -> FloatArray:
    """Return what planes at the given offsets trap, from one sort of the tops and bottoms."""
    filled = columns.filled
    top, bottom = np.sort(columns.top_mm[filled]), np.sort(columns.bottom_mm[filled])
    top_sum = np.concatenate([[0.0], np.cumsum(top)])
    bottom_sum = np.concatenate([[0.0], np.cumsum(bottom)])
    under = np.searchsorted(top, offset_mm)
    over = np.searchsorted(bottom, offset_mm)
    above_top = under * offset_mm - top_sum[under]
    below_bottom = bottom_sum[-1] - bottom_sum[over] - (len(bottom) - over) * offset_mm
    return np.asarray((columns.gap_mm.sum() + above_top + below_bottom) * cell_area_mm2)


def trapped_volumes(
    part: Solid, direction: ArrayLike, *, offset_mm: ArrayLike | None = None, columns: int = 256
) -> TrappedVolume:
    """Measure what rigid halves trap along a pull direction, for all places of a parting plane at once.

    Parameters
    ----------
    part : Solid
        The casting.
    direction : (3,) float64
        Pull direction; the halves part along it and against it.
    offset_mm : (k,) float64, optional
        Places of the plane along the direction; 65 evenly over the part's height if not given.
    columns : int
        Columns along the longer side of the part's shadow.

    Returns
    -------
    TrappedVolume
        For part of the body above the surface, trapped is its shadow swept back to the surface less its own
        volume; the same below.

    Raises
    ------
    NoPartingError
        If the part is empty.

    Notes
    -----
    One pass over columns (two depth buffers and the summed thickness), after Khardekar, Burton and McMains,
    "Finding feasible mold parting directions using graphics hardware", Computer-Aided Design 38 (2006)
    327-341, who decide mouldability by depth buffers.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import sphere
    >>> ball = sphere(10.0, segments=128)
    >>> found = trapped_volumes(ball, [0, 0, 1], offset_mm=[6.0])
    >>> bool(abs(found.trapped_mm3[0] / (np.pi * 6**3 / 3) - 1) < 0.01)
    True
    """
    unit = unit_direction(direction)
    if part.is_empty:
        raise NoPartingError("The part is empty.", remedy="Give a solid part.")
    mesh = part.mesh
    met, cell = columns_along(mesh.vertices, mesh.faces, unit, columns=columns)
    if offset_mm is None:
        height = mesh.vertices @ unit
        places = np.linspace(height.min(), height.max(), 65)
    else:
        places = np.array(offset_mm, dtype=np.float64).reshape(-1)
    best, least = best_plane(met, cell)
    volume = float(met.thickness_mm.sum()) * cell
    return TrappedVolume(
        direction=unit,
        offset_mm=places,
        trapped_mm3=plane_trapped_mm3(met, cell, places),
        best_offset_mm=best,
        best_trapped_mm3=least,
        bound_mm3=bound_mm3(met, cell),
        volume_mm3=volume,
        sampling_error=volume / part.volume_mm3 - 1.0,
    )
