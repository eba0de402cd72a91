"""Parting surface: where the two halves of the mould meet."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.errors import NoPartingError, UsageError
from mirrorprep.geometry.column_raster import ColumnGrid, raster
from mirrorprep.geometry.height_field import HeightField, body_below, level_field, widened
from mirrorprep.mould.parting_contour import (
    STEEPEST_LAND_DEG,
    ContourSheet,
    Probes,
    contour_sheet,
    rough_sheet,
)
from mirrorprep.mould.parting_guide import Guide
from mirrorprep.mould.pull_direction import PullSearch, search_pull_direction
from mirrorprep.mould.undercut import best_plane, bound_mm3, raster_frame, unit_direction
from mirrorprep.progress import SILENT, Progress
from mirrorprep.solid.certify import certify
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import box, frame_along
from mirrorprep.solid.section import level_section, silhouette
from mirrorprep.solid.solid import Solid

__all__ = ["Guide", "PartingSurface", "PartingView", "find_parting", "parting_findings", "view_part"]

FloatArray = NDArray[np.float64]

KINDS = ("auto", "plane", "contour")
AS_GOOD_SHARE = 1e-4
"""A plane is preferred when it traps at most this share of the part's volume more than the bound."""

_COLUMNS = 256


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PartingSurface:
    """The surface between the halves, a height field over the plane across the pull direction.

    Attributes
    ----------
    kind : str
        ``plane`` or ``contour``.
    pull_direction : (3,) float64
        Unit vector in the part's own coordinates; half_a moves along it, half_b against it.
    frame : (3, 3) float64
        Rotation with the columns u, v and pull; ``p_pull = frame.T @ p``.
    trapped_mm3, bound_mm3 : float
        What two rigid halves trap, and the least that any parting surface along this pull could trap.
    outline : tuple of (n, 3) float64
        The parting line on the part, closed polylines in the part's coordinates (the first point is not
        repeated).
    field : HeightField
        Heights in the pull frame.
    steepest_deg : float
        Steepest angle of the land, the surface outside the part, beyond a third of the margin. Beside the
        part the surface follows the part's outline, however steep that is.
    search : PullSearch or None
        The landscape of pull directions, when the direction was searched.
    """

    kind: str
    pull_direction: FloatArray
    frame: FloatArray
    trapped_mm3: float
    bound_mm3: float
    outline: tuple[FloatArray, ...]
    field: HeightField
    steepest_deg: float
    search: PullSearch | None = None

    def height_mm(self, uv: ArrayLike) -> FloatArray:
        """Return the surface's height in the pull frame over (n, 2) points."""
        return self.field.at(uv)

    def solid_below(self, low_uv: ArrayLike, high_uv: ArrayLike, z_floor: float) -> Solid:
        """Return everything below the surface within a rectangle, down to a floor, in the pull frame.

        Raises
        ------
        UsageError
            If the floor does not lie below the surface.
        """
        low, high = np.asarray(low_uv, dtype=np.float64), np.asarray(high_uv, dtype=np.float64)
        if z_floor >= self.field.height_mm.min():
            raise UsageError(
                f"The floor at {z_floor:g} mm does not lie below the parting surface "
                f"({self.field.height_mm.min():g} mm).",
                remedy="Lower the floor.",
            )
        if self.kind == "plane":
            vertices, faces = body_below(level_field(low, high, self.field.height_mm[0]), z_floor)
            return certify(ScanMesh(vertices=vertices, faces=faces))
        reach = max(float((self.field.low_uv - low).max()), float((high - self.field.high_uv).max()), 0.0)
        vertices, faces = body_below(widened(self.field, reach + 1.0), z_floor - 1.0)
        corner = np.append(low, z_floor), np.append(high, self.field.height_mm.max() + 1.0)
        frame = box(corner[1] - corner[0], center_mm=(corner[0] + corner[1]) / 2.0)
        return certify(ScanMesh(vertices=vertices, faces=faces)) & frame


def find_parting(
    part: Solid,
    *,
    pull_direction: ArrayLike | None = None,
    kind: str = "auto",
    margin_mm: float,
    guides: Sequence[Guide] = (),
    progress: Progress = SILENT,
) -> PartingSurface:
    """Find the surface at which two rigid halves trap least.

    Parameters
    ----------
    part : Solid
        The casting.
    pull_direction : (3,) float64, optional
        Opening direction; the whole hemisphere is searched if not given.
    kind : str
        ``plane``, ``contour``, or ``auto``: the plane when it traps as little as any surface can, to 1e-4 of
        the part's volume, the contour otherwise.
    margin_mm : float
        How far the surface reaches beyond the part's shadow.
    guides : sequence of Guide
        Strips and pads that a contour-following surface passes through.
    progress : Progress
        Told about the stages.

    Returns
    -------
    PartingSurface
        In the pull frame.

    Raises
    ------
    NoPartingError
        If the part is empty.
    UsageError
        If the kind is not known or the margin is not positive.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import sphere
    >>> surface = find_parting(sphere(10.0), pull_direction=[0, 0, 1], margin_mm=10.0)
    >>> surface.kind, bool(surface.trapped_mm3 < 1.0)
    ('plane', True)
    """
    if not (np.isfinite(margin_mm) and margin_mm > 0.0):
        raise UsageError(f"The margin is {margin_mm} mm.", remedy="Give a margin above 0 mm.")
    view = view_part(part, pull_direction=pull_direction, kind=kind, progress=progress.part(0.0, 0.7))
    progress.step("parting surface", 0.7)
    surface = view.surface(margin_mm, guides)
    progress.step("parting surface", 1.0)
    return surface


def view_part(
    part: Solid,
    *,
    pull_direction: ArrayLike | None = None,
    kind: str = "auto",
    progress: Progress = SILENT,
) -> "PartingView":
    """Look at a part along its pull direction, searched if not given; parameters as in `find_parting`.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import sphere
    >>> view = view_part(sphere(10.0), pull_direction=[0, 0, 1])
    >>> view.kind, view.surface(10.0).kind
    ('plane', 'plane')
    """
    if part.is_empty:
        raise NoPartingError("The part is empty.", remedy="Give a solid part.")
    if kind not in KINDS:
        raise UsageError(f"'{kind}' is no kind of parting.", remedy=f"Use one of {', '.join(KINDS)}.")
    search = None
    if pull_direction is None:
        search = search_pull_direction(part, progress=progress)
        kind, pull = _chosen(search, kind)
    else:
        pull = unit_direction(pull_direction)
    return PartingView.of(part, pull, kind, search)


def parting_findings(surface: PartingSurface) -> tuple[Finding, ...]:
    """Return what is to be said about a parting surface's land.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import sphere
    >>> parting_findings(find_parting(sphere(10.0), pull_direction=[0, 0, 1], margin_mm=10.0))
    ()
    """
    if surface.steepest_deg <= STEEPEST_LAND_DEG + 1.0:
        return ()
    return (
        Finding(
            code="parting-steep",
            severity=Severity.CAUTION,
            message=(
                f"The parting surface climbs at up to {surface.steepest_deg:.0f}° where halves are clamped "
                f"(limit {STEEPEST_LAND_DEG:g}°): they may slide on each other and print with overhangs."
            ),
            measured=surface.steepest_deg,
            limit=STEEPEST_LAND_DEG,
            remedy="Widen the flange, choose another pull direction, or part by a plane.",
        ),
    )


def _chosen(found: PullSearch, kind: str) -> tuple[str, FloatArray]:
    """Return the kind of parting and the pull direction that suit the part."""
    if kind == "auto":
        gain = found.for_plane.plane_trapped_mm3 - found.for_contour.bound_mm3
        kind = "plane" if gain <= AS_GOOD_SHARE * found.volume_mm3 else "contour"
    pull = found.for_plane if kind == "plane" else found.for_contour
    return kind, np.array(pull.direction)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PartingView:
    """A part looked at along its pull; any number of surfaces can be laid through it.

    Attributes
    ----------
    kind : str
        ``plane`` or ``contour``: the surface that suits the part, or that was asked for.
    body : Solid
        The part in the pull frame.
    pull, frame
        As in `PartingSurface`.
    probes : Probes
        Its columns along the pull.
    search : PullSearch or None
        The landscape of pull directions, when the direction was searched.
    """

    kind: str
    body: Solid
    pull: FloatArray
    frame: FloatArray
    probes: Probes
    search: PullSearch | None

    @classmethod
    def of(cls, part: Solid, pull: FloatArray, kind: str, search: PullSearch | None) -> "PartingView":
        """Return the view of a part; of kind ``auto``, the plane where it does as well as any surface."""
        frame = _part_frame(part, pull)
        body = _turned(part, frame)
        turned = raster_frame([0.0, 0.0, 1.0])
        points = body.mesh.vertices @ turned
        grid = ColumnGrid.over(points[:, :2].min(axis=0), points[:, :2].max(axis=0), columns=_COLUMNS)
        columns = raster(points, body.mesh.faces, grid)
        probes = Probes(grid=grid, turn=turned, columns=columns)
        if kind == "auto":
            gain = best_plane(columns, grid.cell_area_mm2)[1] - bound_mm3(columns, grid.cell_area_mm2)
            kind = "plane" if gain <= AS_GOOD_SHARE * part.volume_mm3 else "contour"
        return cls(kind=kind, body=body, pull=pull, frame=frame, probes=probes, search=search)

    @property
    def bound_mm3(self) -> float:
        """W: the least that any surface along this pull traps."""
        return bound_mm3(self.probes.columns, self.probes.grid.cell_area_mm2)

    def surface(
        self, margin_mm: float, guides: Sequence[Guide] = (), *, start: HeightField | None = None
    ) -> PartingSurface:
        """Return the surface through the part, up to a margin beyond its shadow.

        `start` is a rough surface to start from; it saves time and does not change the result.
        """
        if self.kind == "plane":
            return self._plane(margin_mm)
        mesh = self.body.mesh
        loops = silhouette(self.body).loops
        sheet = contour_sheet(
            mesh.vertices,
            mesh.faces,
            loops,
            probes=self.probes,
            margin_mm=margin_mm,
            guides=guides,
            start=start,
        )
        return self._contour(sheet)

    def rough(self, coarse: Solid, margin_mm: float) -> PartingSurface:
        """Return about the same surface in a fraction of the time, from a coarse copy of the part.

        A plane is the plane itself.
        """
        if self.kind == "plane":
            return self._plane(margin_mm)
        body = _turned(coarse, self.frame)
        loops = silhouette(body).loops
        return self._contour(rough_sheet(body.mesh.vertices, body.mesh.faces, loops, margin_mm=margin_mm))

    def _contour(self, sheet: ContourSheet) -> PartingSurface:
        return self._surface(sheet.field, sheet.loops_mm, sheet.steepest_deg)

    def _plane(self, margin_mm: float) -> PartingSurface:
        offset = self._clear_offset()
        low, high = self.body.bounds_mm[:, :2]
        field = level_field(low - margin_mm, high + margin_mm, offset)
        loops = level_section(self.body, offset).loops
        lifted = tuple(np.column_stack([loop, np.full(len(loop), offset)]) for loop in loops)
        return self._surface(field, lifted, 0.0)

    def _clear_offset(self) -> float:
        """Return the best plane's offset, moved a hair to where no vertex of the part lies near it.

        A plane through a flat base would leave a skin of no thickness.
        """
        best = best_plane(self.probes.columns, self.probes.grid.cell_area_mm2)[0]
        heights = self.body.mesh.vertices[:, 2]
        reach = 5e-4 * float(np.ptp(self.body.mesh.vertices, axis=0).max())
        near = np.sort(heights[np.abs(heights - best) < reach])
        ends = np.concatenate([[best - reach], near, [best + reach]])
        gaps = np.diff(ends)
        wide = np.flatnonzero(gaps >= gaps.max() / 4.0)
        places = ends[wide] + gaps[wide] / 2.0
        cost = [self.probes.missed_mm3(self._level(place)) for place in places]
        return float(places[int(np.argmin(cost))])

    def _level(self, offset: float) -> HeightField:
        low, high = self.body.bounds_mm[:, :2]
        return level_field(low, high, offset)

    def _surface(
        self, field: HeightField, loops: tuple[FloatArray, ...], steepest_deg: float
    ) -> PartingSurface:
        return PartingSurface(
            kind=self.kind,
            pull_direction=self.pull,
            frame=self.frame,
            trapped_mm3=self.bound_mm3 + self.probes.missed_mm3(field),
            bound_mm3=self.bound_mm3,
            outline=tuple(loop @ self.frame.T for loop in loops),
            field=field,
            steepest_deg=steepest_deg,
            search=self.search,
        )


def _turned(solid: Solid, frame: FloatArray) -> Solid:
    matrix = np.eye(4)
    matrix[:3, :3] = frame.T
    return solid.transformed(matrix)


def _part_frame(part: Solid, pull: FloatArray) -> FloatArray:
    """Return the frame along the pull whose u-axis runs along the least rectangle around the shadow."""
    from scipy.spatial import ConvexHull

    frame = frame_along(pull)
    flat = part.mesh.vertices @ frame[:, :2]
    hull = flat[ConvexHull(flat).vertices]
    edge = np.roll(hull, -1, axis=0) - hull
    angle = np.unique(np.round(np.mod(np.arctan2(edge[:, 1], edge[:, 0]), np.pi / 2.0), 9))
    along = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    across = np.stack([-along[:, 1], along[:, 0]], axis=1)
    extents = np.stack([np.ptp(hull @ along.T, axis=0), np.ptp(hull @ across.T, axis=0)])
    best = int(np.argmin(np.round(extents.prod(axis=0), 9)))
    axis = along[best] if extents[0, best] >= extents[1, best] else across[best]
    u = frame[:, :2] @ axis
    u = u / np.linalg.norm(u)
    return np.column_stack([u, np.cross(pull, u), pull])
