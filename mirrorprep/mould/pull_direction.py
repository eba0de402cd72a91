"""Pull direction: a search over the whole hemisphere for the pull that traps least."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.errors import NoPartingError
from mirrorprep.mould.undercut import best_plane, bound_mm3, columns_along, unit_direction
from mirrorprep.progress import SILENT, Progress
from mirrorprep.solid.primitives import frame_along
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

DIRECTIONS = 512
_COARSE_TRIANGLES = 2000
_COARSE_COLUMNS, _WALK_COLUMNS, _FINE_COLUMNS, _FULL_COLUMNS = 48, 64, 112, 256
_CLOSE_SHARE = 8e-4
_WALK_RAD, _POLISH_RAD, _LAST_RAD = 0.05, 0.018, 0.004
_PLANE_WEIGHT = 2e-3
_HEIGHT_WEIGHT = 2e-5
_RANKED_AGAIN, _STARTS = 12, 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Pull:
    """One pull direction with what it traps.

    Attributes
    ----------
    direction : tuple of (float, float, float)
        Unit vector in the part's coordinates.
    bound_mm3 : float
        W: the least that any parting surface traps along it.
    plane_offset_mm, plane_trapped_mm3 : float
        The best parting plane across it, ``direction · p = offset``, and what that traps.
    height_mm : float
        The part's extent along it.
    """

    direction: tuple[float, float, float]
    bound_mm3: float
    plane_offset_mm: float
    plane_trapped_mm3: float
    height_mm: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PullSearch:
    """The landscape over all pull directions, and the best of it.

    Attributes
    ----------
    directions : (n, 3) float64
        Unit vectors, evenly over a hemisphere; a direction and its opposite are the same pull.
    bound_mm3, plane_trapped_mm3, plane_offset_mm : (n,) float64
        W, the best plane's trapped volume and its offset, for each; from a decimated copy.
    for_contour, for_plane : Pull
        The best pull for a surface that follows the contour and for a plane, refined and measured on the
        part itself.
    alternatives : tuple of Pull
        Other good pulls, well apart, measured on the part itself: those for a contour first.
    volume_mm3 : float
        The part's volume.
    coarse_triangles : int
        Triangles of the decimated copy.
    coarse_error : float
        Largest difference between the copy and the part in W or the plane's trapped volume at the chosen
        directions, as a share of the part's volume.
    """

    directions: FloatArray
    bound_mm3: FloatArray
    plane_trapped_mm3: FloatArray
    plane_offset_mm: FloatArray
    for_contour: Pull
    for_plane: Pull
    alternatives: tuple[Pull, ...]
    volume_mm3: float
    coarse_triangles: int
    coarse_error: float


def hemisphere(count: int) -> FloatArray:
    """Return `count` unit vectors spread evenly over the upper hemisphere (a Fibonacci lattice).

    Examples
    --------
    >>> hemisphere(512).shape, bool((hemisphere(512)[:, 2] > 0).all())
    ((512, 3), True)
    """
    step = np.arange(count) + 0.5
    z = 1.0 - step / count
    around = step * np.pi * (3.0 - np.sqrt(5.0))
    radius = np.sqrt(1.0 - z**2)
    return np.column_stack([radius * np.cos(around), radius * np.sin(around), z])


@dataclass(frozen=True, slots=True, eq=False)
class _Model:
    vertices: FloatArray
    faces: IntArray
    middle: FloatArray
    volume_mm3: float
    size_mm: float

    def pull(self, direction: FloatArray, columns: int) -> Pull:
        unit = unit_direction(direction)
        met, cell = columns_along(self.vertices, self.faces, unit, columns=columns)
        offset, trapped = best_plane(met, cell)
        height = self.vertices @ unit
        return Pull(
            direction=(float(unit[0]), float(unit[1]), float(unit[2])),
            bound_mm3=bound_mm3(met, cell),
            plane_offset_mm=offset + float(unit @ self.middle),
            plane_trapped_mm3=trapped,
            height_mm=float(height.max() - height.min()),
        )

    def pulls(self, directions: FloatArray, columns: int) -> list[Pull]:
        with ThreadPoolExecutor(2) as pool:  # numpy lets go of the interpreter on arrays of this size
            return list(pool.map(lambda direction: self.pull(direction, columns), directions))

    def cost(self, pull: Pull, *, plane: bool) -> float:
        """Return what the search minimises: W first, then how well a plane would do, then a short draw."""
        flat, short = pull.plane_trapped_mm3 / self.volume_mm3, pull.height_mm / self.size_mm
        if plane:
            return flat + _HEIGHT_WEIGHT * short
        return pull.bound_mm3 / self.volume_mm3 + _PLANE_WEIGHT * flat + _HEIGHT_WEIGHT * short


def search_pull_direction(
    part: Solid, *, directions: int = DIRECTIONS, progress: Progress = SILENT
) -> PullSearch:
    """Search the hemisphere of pull directions for the one that traps least.

    Parameters
    ----------
    part : Solid
        The casting.
    directions : int
        How many directions the landscape holds.
    progress : Progress
        Told about the stages.

    Returns
    -------
    PullSearch
        The landscape, and the best pulls for a contour-following surface and for a plane.

    Raises
    ------
    NoPartingError
        If the part is empty.

    Notes
    -----
    A decimated copy is measured along every direction with few columns; the best few are refined by a
    pattern search with more columns and measured on the part itself. Nothing is random.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> found = search_pull_direction(box([30, 20, 6]), directions=64)
    >>> found.for_contour.bound_mm3 < 1e-6
    True
    """
    if part.is_empty:
        raise NoPartingError("The part is empty.", remedy="Give a solid part.")
    close = part.simplified(_CLOSE_SHARE * part.mesh.diagonal_mm)
    close = part if close.is_empty else close
    models = _Models(_model(part), _model(close), _model(_decimated(close)))
    full, coarse = models.full, models.coarse
    axes = np.vstack([hemisphere(directions), np.eye(3)])
    progress.step("pull directions", 0.0)
    landscape = coarse.pulls(axes, _COARSE_COLUMNS)
    progress.step("refining the pull direction", 0.5)
    for_contour, for_plane = (_refined(models, axes, landscape, plane=plane) for plane in (False, True))
    progress.step("pull direction", 1.0)
    return PullSearch(
        directions=axes,
        bound_mm3=np.array([pull.bound_mm3 for pull in landscape]),
        plane_trapped_mm3=np.array([pull.plane_trapped_mm3 for pull in landscape]),
        plane_offset_mm=np.array([pull.plane_offset_mm for pull in landscape]),
        for_contour=for_contour[0],
        for_plane=for_plane[0],
        alternatives=(*for_contour[1:], *for_plane[1:]),
        volume_mm3=full.volume_mm3,
        coarse_triangles=len(coarse.faces),
        coarse_error=max(_disagreement(full, coarse, pull) for pull in (for_contour[0], for_plane[0])),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Models:
    """The part, a copy close enough to polish W on, and a coarse copy for the landscape."""

    full: _Model
    close: _Model
    coarse: _Model


def _model(part: Solid) -> _Model:
    mesh = part.mesh
    middle = mesh.bounds_mm.mean(axis=0)
    return _Model(mesh.vertices - middle, mesh.faces, middle, part.volume_mm3, mesh.diagonal_mm)


def _decimated(part: Solid) -> Solid:
    """Return a copy of a few thousand triangles, or the part where it has no more."""
    tolerance = 5e-4 * part.mesh.diagonal_mm
    copy = part
    for _ in range(4):
        if len(copy.mesh.faces) <= _COARSE_TRIANGLES:
            break
        smaller = copy.simplified(tolerance)
        copy = copy if smaller.is_empty else smaller
        tolerance *= 2.0
    return copy


def _refined(models: _Models, axes: FloatArray, landscape: list[Pull], *, plane: bool) -> list[Pull]:
    """Rank the landscape's best few again on a closer copy, walk downhill from there, measure on the part."""
    model = models.coarse if plane else models.close
    spacing = np.sqrt(2.0 * np.pi / len(axes))
    costs = np.array([models.coarse.cost(pull, plane=plane) for pull in landscape])
    likely = axes[np.argsort(costs, kind="stable")[:_RANKED_AGAIN]]
    costs = np.array([model.cost(pull, plane=plane) for pull in model.pulls(likely, _WALK_COLUMNS)])
    ends = []
    for start in _separate_minima(likely, costs, 2.0 * spacing):
        walked = _descend(model, likely[start], (_WALK_RAD, _POLISH_RAD), _WALK_COLUMNS, plane=plane)
        ends.append(_descend(model, walked.direction, (_POLISH_RAD, _LAST_RAD), _FINE_COLUMNS, plane=plane))
    measured = models.full.pulls(np.array([end.direction for end in ends]), _FULL_COLUMNS)
    return sorted(measured, key=lambda pull: models.full.cost(pull, plane=plane))


def _separate_minima(axes: FloatArray, costs: FloatArray, apart_rad: float) -> list[int]:
    """Return the cheapest directions that lie apart from one another."""
    chosen: list[int] = []
    for candidate in np.argsort(costs, kind="stable"):
        nearness = np.abs(axes[chosen] @ axes[candidate]) if chosen else np.zeros(1)
        if nearness.max() < np.cos(apart_rad):
            chosen.append(int(candidate))
        if len(chosen) == _STARTS:
            break
    return chosen


def _descend(
    model: _Model, start: ArrayLike, steps_rad: tuple[float, float], columns: int, *, plane: bool
) -> Pull:
    """Walk downhill over a ring of six neighbours that shrinks from the first step to the last."""
    best = model.pull(np.asarray(start), columns)
    step_rad, last_rad = steps_rad
    while step_rad > last_rad:
        frame = frame_along(best.direction)
        around = np.arange(6) * np.pi / 3.0
        ring = frame[:, 2] + np.tan(step_rad) * (
            np.outer(np.cos(around), frame[:, 0]) + np.outer(np.sin(around), frame[:, 1])
        )
        nearest = min(model.pulls(ring, columns), key=lambda pull: model.cost(pull, plane=plane))
        if model.cost(nearest, plane=plane) < model.cost(best, plane=plane):
            best = nearest
        else:
            step_rad /= 2.5
    return best


def _disagreement(full: _Model, coarse: _Model, pull: Pull) -> float:
    copy = coarse.pull(np.array(pull.direction), _COARSE_COLUMNS)
    gaps = (copy.bound_mm3 - pull.bound_mm3, copy.plane_trapped_mm3 - pull.plane_trapped_mm3)
    return max(abs(gap) for gap in gaps) / full.volume_mm3
