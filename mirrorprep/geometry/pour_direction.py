"""The direction to pour in: least trapped air first, then the shortest sprue."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.errors import UsageError
from mirrorprep.geometry.air_pockets import analyse_columns
from mirrorprep.geometry.cavity_columns import cavity_columns, require_closed, upright_frame, used_vertices
from mirrorprep.geometry.mass_properties import signed_volume_mm3
from mirrorprep.geometry.rising_level import lost_volumes_mm3

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

PLANE_ANGLES = 72
SPHERE_DIRECTIONS = 512
_COARSE_CELLS = 56
_FINALISTS = 6
_FINAL_CELLS = 160
_NEGLIGIBLE_SHARE = 2e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class PourDirection:
    """How a cavity fills when one direction points up.

    Attributes
    ----------
    up : tuple of 3 floats
        Unit direction against gravity.
    trapped_mm3 : float
        Air left with the sprue at the highest point and no vent.
    pockets : int
        Pockets over the volume that counts as negligible; -1 where only the coarse pass was made.
    sprue_length_mm : float
        Height of the cavity along up: what a sprue that feeds its low side has to bridge.
    """

    up: tuple[float, float, float]
    trapped_mm3: float
    pockets: int
    sprue_length_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PourDirections:
    """The candidates, best first.

    Attributes
    ----------
    ranked : tuple of PourDirection
        The finalists, examined finely, then the others as the coarse pass saw them.
    negligible_mm3 : float
        Differences of trapped air below this do not count.
    """

    ranked: tuple[PourDirection, ...]
    negligible_mm3: float

    @property
    def best(self) -> PourDirection:
        """The direction to take unless the job says otherwise."""
        return self.ranked[0]


def directions_in_plane(normal: ArrayLike, count: int = PLANE_ANGLES) -> FloatArray:
    """Return `count` evenly spaced unit directions (count, 3) perpendicular to `normal`.

    Examples
    --------
    >>> bool(np.allclose(directions_in_plane((0, 0, 2), 8) @ [0, 0, 1], 0.0))
    True
    """
    u, v, _ = upright_frame(normal)
    angle = 2.0 * np.pi * np.arange(count) / count
    return np.asarray(np.outer(np.cos(angle), u) + np.outer(np.sin(angle), v))


def directions_on_sphere(count: int = SPHERE_DIRECTIONS) -> FloatArray:
    """Return `count` (even) nearly even unit directions (count, 3): a spiral and its opposites.

    Examples
    --------
    >>> bool(np.allclose(np.linalg.norm(directions_on_sphere(64), axis=1), 1.0))
    True
    """
    half = np.arange(count // 2)
    z = 1.0 - (half + 0.5) / max(len(half), 1)
    angle = np.pi * (3.0 - np.sqrt(5.0)) * half
    radius = np.sqrt(1.0 - z * z)
    upper = np.column_stack([radius * np.cos(angle), radius * np.sin(angle), z])
    return np.concatenate([upper, -upper])


def best_pour_direction(
    vertices: FloatArray, faces: IntArray, *, candidates: ArrayLike, negligible_mm3: float | None = None
) -> PourDirections:
    """Rank directions to pour in by trapped air, then by sprue length.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions in mm of the cavity, without channels.
    faces : (m, 3) int64
        Closed, counter-clockwise from outside.
    candidates : (k, 3) array_like
        Directions that may point up while pouring: `directions_in_plane` of the pull direction keeps sprue
        and vents in the parting surface, `directions_on_sphere` looks everywhere.
    negligible_mm3 : float, optional
        Trapped air is compared in steps of this; by default 2e-4 of the cavity.

    Returns
    -------
    PourDirections
        Best first. Deterministic: ties keep the order of the candidates.

    Raises
    ------
    UsageError
        If there is no candidate.
    NotASolidError
        If the mesh is not closed.

    Notes
    -----
    All candidates are ranked on a copy whose vertices are merged within cells of 1/56 of the size (it stays
    closed, since merging vertices keeps the boundary of a closed chain zero); the best six are examined
    again on a copy with cells of 1/200, in columns 1/160 apart.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> stool = (box([40, 20, 5]) + box([6, 6, 30], center_mm=[-12, 0, 15]) + box([6, 6, 20])).mesh
    >>> best_pour_direction(stool.vertices, stool.faces, candidates=[[0, 0, 1], [0, 0, -1]]).best.up
    (0.0, 0.0, -1.0)
    """
    ups = np.asarray(candidates, dtype=np.float64)
    if ups.ndim != 2 or ups.shape[1] != 3 or len(ups) == 0:
        raise UsageError(
            f"Candidates have shape {ups.shape}, not (k, 3).", remedy="Give at least one direction."
        )
    require_closed(vertices, faces)
    ups = ups / np.linalg.norm(ups, axis=1, keepdims=True)
    points = used_vertices(vertices, faces)
    cell = float(np.ptp(points, axis=0).max()) / _COARSE_CELLS
    coarse_vertices, coarse_faces = merged_in_cells(vertices, faces, cell)
    lost = _coarse_losses(coarse_vertices, coarse_faces, ups, cell)
    volume = signed_volume_mm3(vertices, faces)
    step = _NEGLIGIBLE_SHARE * volume if negligible_mm3 is None else negligible_mm3
    seen = [
        PourDirection(up=_tuple(up), trapped_mm3=air, pockets=-1, sprue_length_mm=float(np.ptp(points @ up)))
        for up, air in zip(ups, lost, strict=True)
    ]
    order = sorted(seen, key=lambda d: _rank(d, 10.0 * step))
    fine = cell * _COARSE_CELLS / _FINAL_CELLS
    fine_vertices, fine_faces = merged_in_cells(vertices, faces, 0.8 * fine)
    finalists = [_examined(fine_vertices, fine_faces, d, fine, step) for d in order[:_FINALISTS]]
    finalists.sort(key=lambda d: _rank(d, step))
    return PourDirections(ranked=(*finalists, *order[_FINALISTS:]), negligible_mm3=step)


def merged_in_cells(vertices: FloatArray, faces: IntArray, cell_mm: float) -> tuple[FloatArray, IntArray]:
    """Return the mesh with all vertices of a cell merged at their mean, without the collapsed faces.

    A closed mesh stays closed in the sense that every column leaves it as often as it enters it.
    """
    cells = np.floor((vertices - vertices.min(axis=0)) / cell_mm).astype(np.int64)
    base = cells.max(axis=0) + 1
    key = (cells[:, 0] * base[1] + cells[:, 1]) * base[2] + cells[:, 2]
    order = np.argsort(key, kind="stable")
    first = np.flatnonzero(np.diff(key[order], prepend=-1))
    group = np.empty(len(key), dtype=np.int64)
    group[order] = np.repeat(np.arange(len(first)), np.diff(np.append(first, len(key))))
    count = np.bincount(group)
    merged = np.stack([np.bincount(group, weights=vertices[:, k]) for k in range(3)], axis=1) / count[:, None]
    left = group[faces]
    kept = (left[:, 0] != left[:, 1]) & (left[:, 1] != left[:, 2]) & (left[:, 2] != left[:, 0])
    return merged, left[kept]


def _coarse_losses(vertices: FloatArray, faces: IntArray, ups: FloatArray, cell_mm: float) -> list[float]:
    """Return the trapped air for every direction; opposite directions share their columns."""
    known: dict[tuple[float, float, float], float] = {}
    for up in ups:
        if _key(up) not in known:
            columns = cavity_columns(vertices, faces, up=up, spacing_mm=cell_mm)
            known[_key(up)], known[_key(-up)] = lost_volumes_mm3(columns)
    return [known[_key(up)] for up in ups]


def _key(up: FloatArray) -> tuple[float, float, float]:
    return _tuple(np.round(up, 9))


def _rank(direction: PourDirection, step: float) -> tuple[float, float]:
    return (float(np.floor(direction.trapped_mm3 / step)) if step > 0.0 else direction.trapped_mm3), round(
        direction.sprue_length_mm, 3
    )


def _examined(
    vertices: FloatArray, faces: IntArray, direction: PourDirection, spacing: float, step: float
) -> PourDirection:
    columns = cavity_columns(vertices, faces, up=direction.up, spacing_mm=spacing)
    air = analyse_columns(columns, (), smallest_mm3=step)
    return replace(direction, trapped_mm3=air.trapped_mm3, pockets=len(air.pockets))


def _tuple(up: FloatArray) -> tuple[float, float, float]:
    x, y, z = (up + 0.0).tolist()
    return x, y, z
