"""Where vents must stand so that no air pocket over a limit is left."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.geometry.air_pockets import AirAnalysis, analyse_columns, default_spacing_mm
from mirrorprep.geometry.cavity_columns import (
    cavity_columns,
    neighbour_links,
    require_closed,
    used_vertices,
)
from mirrorprep.geometry.rising_level import Opening, highest_piece

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Point = tuple[float, float, float]

POCKET_LIMIT_MM3 = 5.0
_MOST_ROUNDS = 16


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class VentPlaces:
    """Sprue, vents and the air that is left with them.

    Attributes
    ----------
    sprue_mm : (float, float, float)
        Where the sprue meets the cavity: its highest point unless stated.
    vents_mm : tuple of points
        Summits that need a vent, in the order in which they were found.
    bare : AirAnalysis
        With the sprue alone.
    vented : AirAnalysis
        With all vents: the check.
    """

    sprue_mm: Point
    vents_mm: tuple[Point, ...]
    bare: AirAnalysis
    vented: AirAnalysis


def place_vents(
    vertices: FloatArray,
    faces: IntArray,
    *,
    up: ArrayLike,
    sprue: Opening | None = None,
    limit_mm3: float = POCKET_LIMIT_MM3,
    spacing_mm: float | None = None,
) -> VentPlaces:
    """Put a vent at each summit that keeps more air than the limit, until none does.

    A vent at the highest summit of a pocket can leave a lower summit of the same pocket shut off, so the
    cavity is analysed again with each set of vents.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions in mm.
    faces : (m, 3) int64
        Closed, counter-clockwise from outside.
    up : (3,) array_like
        Against gravity while pouring.
    sprue : (point, radius), optional
        Where the liquid enters and air may leave; the highest point without.
    limit_mm3 : float, optional
        Largest pocket that may stay.
    spacing_mm : float, optional
        As in `trapped_air`.

    Returns
    -------
    VentPlaces
        Places and the analysis that proves them.

    Raises
    ------
    NotASolidError, UsageError
        As in `trapped_air`.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> plate, tall = box([40, 20, 5]), box([6, 6, 30], center_mm=[-12, 0, 15])
    >>> stool = (plate + tall + box([6, 6, 20], center_mm=[12, 0, 10])).mesh
    >>> places = place_vents(stool.vertices, stool.faces, up=(0, 0, 1))
    >>> len(places.vents_mm), places.vented.trapped_mm3 < 1e-6
    (1, True)
    """
    require_closed(vertices, faces)
    points = used_vertices(vertices, faces)
    spacing = default_spacing_mm(points, up, ()) if spacing_mm is None else spacing_mm
    columns = cavity_columns(vertices, faces, up=up, spacing_mm=spacing)
    links = neighbour_links(columns)
    if sprue is None:
        top = highest_piece(columns, links)
        sprue = columns.points_mm(top, columns.top_mm[top])[0], 0.0
    openings = [sprue]
    bare = analysis = analyse_columns(columns, openings, links=links)
    vents: list[Point] = []
    for _ in range(_MOST_ROUNDS):
        shut = [p.summit_mm for p in analysis.unvented if p.volume_mm3 > limit_mm3 and not p.isolated]
        fresh = [point for point in shut if point not in vents]
        if not fresh:
            break
        vents += fresh
        openings += [(point, 0.0) for point in fresh]
        analysis = analyse_columns(columns, openings, links=links)
    x, y, z = np.asarray(openings[0][0], dtype=np.float64).tolist()
    return VentPlaces(sprue_mm=(x, y, z), vents_mm=tuple(vents), bare=bare, vented=analysis)
