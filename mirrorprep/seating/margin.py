"""The outside of the part: the donor's surface, thinned towards its rim over the recipient's skin."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.geodesic import distance_along, travel_graph
from mirrorprep.geometry.normals import vertex_normals
from mirrorprep.geometry.signed_distance import DistanceField, Foot
from mirrorprep.seating.settings import SeatSettings

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

BLEND_MM: Final = 0.15
HOLLOW_MM: Final = 1.5
EXACT_BEYOND_MM: Final = 3.0
_FACING: Final = (0.1, 0.5)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Sheet:
    """The outside of the part over the skin.

    Attributes
    ----------
    vertices, faces : (n, 3) float64, (m, 3) int64
        The donor's patch, placed, its margin thinned.
    loop : (k,) int64
        Its rim, in the direction a filling must run.
    skin_mm, skin_normals : (n, 3) float64
        Closest points of the skin and the normals there; far from the skin, its nearest vertices.
    height_mm : (n,) float64
        Height over the skin that the placed donor had, before thinning.
    lifted_mm : (n,) float64
        Height over the skin after thinning.
    within_mm : (n,) float64
        Distance from the rim along the sheet.
    """

    vertices: FloatArray
    faces: IntArray
    loop: IntArray
    skin_mm: FloatArray
    skin_normals: FloatArray
    height_mm: FloatArray
    lifted_mm: FloatArray
    within_mm: FloatArray


def smooth_step(share: FloatArray) -> FloatArray:
    """Return 0 below 0, 1 above 1 and the cubic with level ends between.

    Examples
    --------
    >>> smooth_step(np.array([-1.0, 0.0, 0.5, 1.0, 2.0])).tolist()
    [0.0, 0.0, 0.5, 1.0, 1.0]
    """
    clipped = np.clip(share, 0.0, 1.0)
    return np.asarray(clipped * clipped * (3.0 - 2.0 * clipped))


def margin_height(height_mm: FloatArray, within_mm: FloatArray, settings: SeatSettings) -> FloatArray:
    """Return the height over the skin that the outside gets.

    At the rim the edge's thickness over the gap; from there the donor's own height takes over across the
    edge's width, never less than a thickness that rises from edge to floor.

    Parameters
    ----------
    height_mm : (n,) float64
        The donor's height over the skin.
    within_mm : (n,) float64
        Distance from the rim.
    settings : SeatSettings
        Edge, width, floor, gap.

    Examples
    --------
    >>> margin_height(np.array([9.0, 9.0, -1.0]), np.array([0.0, 9.0, 9.0]), SeatSettings()).tolist()
    [0.5, 9.0, 0.8]
    """
    share = smooth_step(within_mm / settings.edge_width_mm)
    least = settings.gap_mm + settings.edge_mm + (settings.floor_mm - settings.edge_mm) * share
    over = height_mm - least
    blended = (over + BLEND_MM) ** 2 / (4.0 * BLEND_MM)
    over = np.where(over > BLEND_MM, over, np.where(over < -BLEND_MM, 0.0, blended))
    return np.asarray(least + share * over)


def _feet(
    vertices: FloatArray, margin: NDArray[np.bool_], skin: DistanceField, settings: SeatSettings
) -> Foot:
    """Return where vertices meet the skin: exactly in the margin and where they may be lifted."""
    foot = skin.near(vertices, reach_mm=settings.gap_mm + settings.floor_mm + EXACT_BEYOND_MM)
    rows = np.flatnonzero(margin)
    exact = skin.at(vertices[rows])
    names = ("distance_mm", "points", "normals", "on_border")
    whole = {name: getattr(foot, name).copy() for name in names}
    for name in names:
        whole[name][rows] = getattr(exact, name)
    return Foot(**whole)


def thinned_sheet(
    vertices: FloatArray, faces: IntArray, loop: IntArray, *, skin: DistanceField, settings: SeatSettings
) -> Sheet:
    """Return the placed donor patch with its margin thinned over the skin.

    Vertices move along the skin's normals. What faces the skin from above, such as the back of an ear, and
    what lies deep below the skin inside the region stays as it is.
    """
    within = distance_along(travel_graph(vertices, faces), loop)
    foot = _feet(vertices, within <= settings.edge_width_mm, skin, settings)
    height = foot.distance_mm
    facing = np.einsum("ij,ij->i", vertex_normals(vertices, faces), foot.normals)
    moves = smooth_step((facing - _FACING[0]) / (_FACING[1] - _FACING[0]))
    near_rim = 1.0 - smooth_step(within / settings.edge_width_mm)
    moves = np.maximum(moves * smooth_step(height / HOLLOW_MM + 2.0), near_rim)
    lift = moves * (margin_height(height, within, settings) - height)
    lifted = vertices + lift[:, None] * foot.normals
    rim_height = settings.gap_mm + settings.edge_mm
    lifted[loop] = foot.points[loop] + rim_height * foot.normals[loop]
    return Sheet(
        vertices=lifted,
        faces=faces,
        loop=loop,
        skin_mm=foot.points,
        skin_normals=foot.normals,
        height_mm=height,
        lifted_mm=height + lift,
        within_mm=within,
    )
