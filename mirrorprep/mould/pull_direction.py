"""Pull direction: a search over the whole hemisphere for the pull that traps least."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from mirrorprep.errors import NoPartingError
from mirrorprep.geometry.column_views import ViewedMesh, ViewMeasures, measured_views
from mirrorprep.geometry.direction_descent import Descent, descend
from mirrorprep.geometry.mass_properties import signed_volume_mm3
from mirrorprep.geometry.vertex_clusters import clustered
from mirrorprep.mould.undercut import best_plane, bound_mm3, columns_along, raster_frames, unit_direction
from mirrorprep.progress import SILENT, Progress
from mirrorprep.solid.decimate import decimated
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Grid = tuple[int, int]
Share = TypeVar("Share", float, FloatArray)

DIRECTIONS = 512
_COARSE_TRIANGLES, _CLOSE_TRIANGLES = 2000, 10_000
_TOLERANCE, _DOUBT = 1.6e-3, 0.2
_LANDSCAPE, _WALK, _VERDICT = (24, 64), (48, 128), (96, 192)
_FULL_COLUMNS, _LOOK_COLUMNS = 256, 128
_APART_RAD, _FIRST_RAD, _LAST_RAD = 0.22, 0.05, 0.02
_PLANE_WEIGHT = 2e-3
_HEIGHT_WEIGHT = 2e-5
_RANKED_AGAIN, _STARTS, _HEARD = 10, 3, 3
_HOPELESS, _CONTENDS = 1.5, 1.2
_SAME_RAD = 0.003


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
    """The part about its middle, or a copy of it with fewer triangles."""

    vertices: FloatArray
    faces: IntArray
    volume_mm3: float
    size_mm: float
    views: ViewedMesh

    @classmethod
    def of(cls, vertices: FloatArray, faces: IntArray) -> "_Model":
        size = float(np.linalg.norm(np.ptp(vertices, axis=0)))
        volume = signed_volume_mm3(vertices, faces)
        return cls(vertices, faces, volume, size, ViewedMesh.of(vertices, faces))

    def seen(self, directions: FloatArray, grid: Grid) -> ViewMeasures:
        return measured_views(self.views, raster_frames(directions), rows=grid[0], columns=grid[1])

    def costs(self, seen: ViewMeasures, *, plane: bool) -> FloatArray:
        bound, missed = seen.gap_volume / self.volume_mm3, seen.missed_volume / self.volume_mm3
        return _cost(bound, bound + missed, seen.extent / self.size_mm, plane=plane)


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
    A copy of some two thousand triangles is measured along every direction with few columns. The best few
    are ranked again on a copy of some ten thousand; from the best of those that lie apart, descents by a
    quadratic model follow. What they tried is noisy, so the best of it is judged by more columns before the
    winner and the runner-up are measured on the part itself. Nothing is random.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> found = search_pull_direction(box([30, 20, 6]), directions=64)
    >>> found.for_contour.bound_mm3 < 1e-6
    True
    """
    if part.is_empty:
        raise NoPartingError("The part is empty.", remedy="Give a solid part.")
    low, high = part.mesh.bounds_mm
    middle, size_mm, volume_mm3 = (low + high) / 2.0, float(np.linalg.norm(high - low)), part.volume_mm3
    vertices = part.mesh.vertices - middle
    progress.step("pull directions", 0.0)
    close, coarse = _copies(vertices, part.mesh.faces, size_mm, volume_mm3)
    axes = np.vstack([hemisphere(directions), np.eye(3)])
    landscape = coarse.seen(axes, _LANDSCAPE)
    progress.step("refining the pull direction", 0.5)
    likely = axes[_likely(coarse, landscape)]
    seen = close.seen(likely, _WALK)
    measured = _PartMeasures(part, vertices, middle, size_mm, volume_mm3)
    for_contour, for_plane = (
        measured.ranked(_refined(close, likely, seen, plane=plane), plane=plane) for plane in (False, True)
    )
    progress.step("pull direction", 1.0)
    return PullSearch(
        directions=axes,
        bound_mm3=landscape.gap_volume,
        plane_trapped_mm3=landscape.gap_volume + landscape.missed_volume,
        plane_offset_mm=landscape.median_height + axes @ middle,
        for_contour=for_contour[0],
        for_plane=for_plane[0],
        alternatives=(*for_contour[1:], *for_plane[1:]),
        volume_mm3=volume_mm3,
        coarse_triangles=len(coarse.faces),
        coarse_error=_disagreement(coarse, [for_contour[0], for_plane[0]]) / volume_mm3,
    )


def _copies(
    vertices: FloatArray, faces: IntArray, size_mm: float, volume_mm3: float
) -> tuple[_Model, _Model]:
    """Return a copy close enough to refine on, and a coarse one for the landscape.

    A copy whose volume is far from the part's has lost thin walls; then the next finer one serves.
    """

    def serves(copy: _Model) -> bool:
        return abs(copy.volume_mm3 / volume_mm3 - 1.0) < _DOUBT

    cells = _cells(vertices, faces)
    finer = (_Model.of(*clustered(vertices, faces, cells=count)) for count in (cells, 2 * cells))
    copies = finer if len(faces) > _CLOSE_TRIANGLES else iter(())
    close = next(filter(serves, copies), None) or _Model.of(vertices, faces)
    coarse = _Model.of(
        *decimated(
            close.vertices, close.faces, triangles=_COARSE_TRIANGLES, tolerance_mm=_TOLERANCE * size_mm
        )
    )
    return close, coarse if serves(coarse) else close


def _cells(vertices: FloatArray, faces: IntArray) -> int:
    """Return how many cells along the longest side leave about as many triangles as the close copy has.

    A cell of a surface leaves 3.6 triangles (2.8 to 4.3 on scans and shapes). Every eighth triangle tells
    the area.
    """
    a, b, c = (vertices[corner] for corner in faces[::8].T)
    area = 0.5 * np.sqrt((np.cross(b - a, c - a) ** 2).sum(axis=1)).sum() * len(faces) / len(faces[::8])
    longest = float(np.ptp(vertices, axis=0).max())
    return max(8, round(float(np.sqrt(_CLOSE_TRIANGLES / 3.6 / area)) * longest))


def _likely(coarse: _Model, landscape: ViewMeasures) -> IntArray:
    """Return the landscape's best few for a contour and for a plane, each once."""
    ranked = [np.argsort(coarse.costs(landscape, plane=plane), kind="stable") for plane in (False, True)]
    return np.unique(np.concatenate([order[:_RANKED_AGAIN] for order in ranked]))


def _refined(close: _Model, likely: FloatArray, seen: ViewMeasures, *, plane: bool) -> list[FloatArray]:
    """Walk downhill from the best of likely directions; return the best end and another well apart."""

    def costs_on(grid: Grid) -> Callable[[FloatArray], FloatArray]:
        return lambda directions: close.costs(close.seen(directions, grid), plane=plane)

    walks = _walks(likely, close.costs(seen, plane=plane), costs_on(_WALK))
    heard = np.vstack([walk.directions[np.argsort(walk.costs, kind="stable")[:_HEARD]] for walk in walks])
    best = heard[int(np.argmin(costs_on(_VERDICT)(heard)))]
    others = [walk.direction for walk in walks if _angle_rad(walk.direction, best) > _FIRST_RAD]
    return [best, *others[:1]]


def _walks(
    likely: FloatArray, costs: FloatArray, costs_of: Callable[[FloatArray], FloatArray]
) -> list[Descent]:
    """Descend from the cheapest directions that lie apart, the best end first.

    A third start must be promising; after the first rings only those near the best go on.
    """
    walks: list[Descent] = []
    for start in _separate_minima(likely, costs):
        if len(walks) < 2 or costs[start] < _HOPELESS * min(walk.cost for walk in walks):
            walks.append(_ringed(costs_of, likely[start], costs[start], _FIRST_RAD))
    worth = _CONTENDS * min(walk.cost for walk in walks)
    ends = [
        _ringed(costs_of, walk.direction, walk.cost, _LAST_RAD) if walk.cost <= worth else walk
        for walk in walks
    ]
    return sorted(ends, key=lambda walk: walk.cost)


def _ringed(
    costs_of: Callable[[FloatArray], FloatArray], start: FloatArray, cost: float, radius: float
) -> Descent:
    return descend(costs_of, start, first_rad=radius, last_rad=radius, start_cost=cost)


def _separate_minima(axes: FloatArray, costs: FloatArray) -> list[int]:
    """Return the cheapest directions that lie apart from one another."""
    chosen: list[int] = []
    for candidate in np.argsort(costs, kind="stable"):
        nearness = np.abs(axes[chosen] @ axes[candidate]) if chosen else np.zeros(1)
        if nearness.max() < np.cos(_APART_RAD):
            chosen.append(int(candidate))
        if len(chosen) == _STARTS:
            break
    return chosen


def _angle_rad(one: FloatArray, other: FloatArray) -> float:
    return float(np.arccos(min(1.0, abs(float(one @ other)))))


@dataclass(frozen=True, slots=True, eq=False)
class _PartMeasures:
    """Pulls measured on the part itself, each once; runners-up with fewer columns unless they may win."""

    part: Solid
    vertices: FloatArray
    middle: FloatArray
    size_mm: float
    volume_mm3: float
    known: list[Pull] = field(default_factory=list)

    def ranked(self, directions: list[FloatArray], *, plane: bool) -> list[Pull]:
        """Return the pulls along directions, the cheapest first."""
        first, *others = directions
        best = self.pull(first, _FULL_COLUMNS)
        looks = [self.pull(direction, _LOOK_COLUMNS) for direction in others]
        pulls = [
            self.pull(direction, _FULL_COLUMNS)
            if self.cost(look, plane=plane) < self.cost(best, plane=plane)
            else look
            for direction, look in zip(others, looks, strict=True)
        ]
        return sorted([best, *pulls], key=lambda pull: self.cost(pull, plane=plane))

    def cost(self, pull: Pull, *, plane: bool) -> float:
        volume, short = self.volume_mm3, pull.height_mm / self.size_mm
        return _cost(pull.bound_mm3 / volume, pull.plane_trapped_mm3 / volume, short, plane=plane)

    def pull(self, direction: FloatArray, columns: int) -> Pull:
        unit = unit_direction(direction)
        for pull in self.known:
            if _angle_rad(np.array(pull.direction), unit) < _SAME_RAD:
                return pull
        met, cell = columns_along(self.vertices, self.part.mesh.faces, unit, columns=columns)
        offset, trapped = best_plane(met, cell)
        height = self.vertices @ unit
        pull = Pull(
            direction=(float(unit[0]), float(unit[1]), float(unit[2])),
            bound_mm3=bound_mm3(met, cell),
            plane_offset_mm=offset + float(unit @ self.middle),
            plane_trapped_mm3=trapped,
            height_mm=float(height.max() - height.min()),
        )
        if columns == _FULL_COLUMNS:
            self.known.append(pull)
        return pull


def _cost(bound: Share, flat: Share, short: Share, *, plane: bool) -> Share:
    """Return what the search minimises: W first, then how well a plane would do, then a short draw.

    Shares of the part's volume, and the height as a share of its size.
    """
    if plane:
        return flat + _HEIGHT_WEIGHT * short
    return bound + _PLANE_WEIGHT * flat + _HEIGHT_WEIGHT * short


def _disagreement(coarse: _Model, pulls: list[Pull]) -> float:
    copy = coarse.seen(np.array([pull.direction for pull in pulls]), _LANDSCAPE)
    bound = copy.gap_volume - [pull.bound_mm3 for pull in pulls]
    plane = copy.gap_volume + copy.missed_volume - [pull.plane_trapped_mm3 for pull in pulls]
    return float(np.abs([bound, plane]).max())
