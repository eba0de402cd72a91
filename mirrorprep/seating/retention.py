"""Simple features on the back of the part that help to hold it: blind holes, or posts."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.geometry.column_raster import ColumnGrid, column_intervals
from mirrorprep.seating.settings import Retention
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.primitives import frame_along, frustum
from mirrorprep.solid.solid import Solid, difference, union

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

WALL_MM: Final = 1.0
ROOT_MM: Final = 1.0
SPACING_MM: Final = 0.5
_SEGMENTS: Final = 48


def with_retention(
    part: Solid, direction: ArrayLike, retention: Retention
) -> tuple[Solid, tuple[Finding, ...]]:
    """Return the part with its retention features.

    Parameters
    ----------
    part : Solid
        In place on the skin.
    direction : (3,) array
        Away from the skin; holes and posts run along it.
    retention : Retention
        Kind, number, size.

    Returns
    -------
    part : Solid
        As it was where nothing is asked for.
    findings : tuple of Finding
        ``retention-short`` when there is room for fewer than asked.

    Notes
    -----
    Places are those where the part is thick enough over the whole circle (a hole leaves 1 mm over its
    bottom; common practice, no source), spread as far apart as they go.
    """
    if retention.kind == "none" or retention.count == 0:
        return part, ()
    frame = frame_along(np.asarray(direction, dtype=np.float64))
    places = _places(part, frame, retention)
    tools = [_tool(place, frame, retention) for place in places]
    if tools:
        part = difference(part, tools) if retention.kind == "holes" else union([part, *tools])
    if len(places) == retention.count:
        return part, ()
    return part, (
        Finding(
            code="retention-short",
            severity=Severity.CAUTION,
            message=f"There is room for {len(places)} of {retention.count} {retention.kind} of "
            f"{retention.diameter_mm:g} mm.",
            measured=float(len(places)),
            limit=float(retention.count),
            remedy="Ask for fewer, thinner or shorter ones.",
        ),
    )


def _places(part: Solid, frame: FloatArray, retention: Retention) -> FloatArray:
    """Return where the features begin on the back, (k, 3) in the frame."""
    seen = part.mesh.vertices @ frame
    grid = ColumnGrid(
        origin_uv=seen.min(axis=0)[:2],
        spacing_mm=SPACING_MM,
        shape=tuple(np.ceil(np.ptp(seen, axis=0)[:2] / SPACING_MM).astype(int) + 1),
    )
    column, low, high = column_intervals(seen, part.mesh.faces, grid.origin_uv, grid.spacing_mm, grid.shape)
    first = np.unique(column, return_index=True)[1]
    bottom, thick = np.full(grid.count, np.nan), np.zeros(grid.count)
    bottom[column[first]], thick[column[first]] = low[first], (high - low)[first]
    need = (retention.length_mm + WALL_MM) if retention.kind == "holes" else ROOT_MM + WALL_MM
    wide = (thick >= need).reshape(grid.shape)
    radius = retention.diameter_mm / 2.0 + WALL_MM
    fits = np.flatnonzero(_eroded(wide, radius / SPACING_MM).ravel())
    chosen = _spread(grid.points_uv[fits], retention.count, 2.0 * radius)
    return np.column_stack([grid.points_uv[fits[chosen]], bottom[fits[chosen]]])


def _eroded(members: NDArray[np.bool_], radius: float) -> NDArray[np.bool_]:
    from scipy.ndimage import distance_transform_edt

    padded = np.pad(members, 1)
    return np.asarray((distance_transform_edt(padded) > radius)[1:-1, 1:-1])


def _spread(points: FloatArray, count: int, apart: float) -> IntArray:
    """Return the numbers of points that lie far apart: always the one farthest from those taken."""
    if len(points) == 0:
        return np.zeros(0, dtype=np.int64)
    taken = [int(np.linalg.norm(points - points.mean(axis=0), axis=1).argmax())]
    away = np.linalg.norm(points - points[taken[0]], axis=1)
    while len(taken) < count and away.max() >= apart:
        taken.append(int(away.argmax()))
        away = np.minimum(away, np.linalg.norm(points - points[taken[-1]], axis=1))
    return np.array(taken, dtype=np.int64)


def _tool(place: FloatArray, frame: FloatArray, retention: Retention) -> Solid:
    up = np.array([0.0, 0.0, 1.0])
    radius = retention.diameter_mm / 2.0
    if retention.kind == "holes":
        start, stop = place - 2.0 * up, place + retention.length_mm * up
    else:
        start, stop = place - retention.length_mm * up, place + ROOT_MM * up
    return frustum(
        frame @ start, frame @ stop, start_radius_mm=radius, stop_radius_mm=radius, segments=_SEGMENTS
    )
