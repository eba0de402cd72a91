"""Cutting polygons into triangles."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Points = NDArray[np.floating[Any]]

MAX_EAR_TESTS: Final = 50_000
"""Ears tried in one call (a few seconds' work, one in a ring of many corners counts as several);
polygons left over are fanned all the same."""

_STEP_COST: Final = 2
_TEST_CORNERS: Final = 64
_FLAT: Final = 1e-9


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Triangulation:
    """The triangles of a set of polygons.

    Attributes
    ----------
    faces : (t, 3) int64
        In the order of the polygons, wound as they are.
    fanned, clipped, forced : int
        Polygons of four or more corners cut as a fan; cut by ear clipping; and fanned although neither
        way gives triangles that all face the polygon's way (self-crossing or flat polygons).
    short : int
        Polygons of fewer than three corners, which give nothing.
    """

    faces: IntArray
    fanned: int
    clipped: int
    forced: int
    short: int


def triangulate(vertices: Points, sizes: IntArray, corners: IntArray) -> Triangulation:
    """Cut polygons into triangles that use their corners only, and keep the winding.

    A fan is tried from each corner in turn and the first one taken whose triangles all face the way of
    the polygon's mean normal (Newell's method); convex polygons and all simple ones of up to five corners
    have such a fan. The others are cut by ear clipping, the ear nearest to equilateral first.

    Parameters
    ----------
    vertices : (n, 3) float
        Positions.
    sizes : (p,) int64
        Corners of each polygon.
    corners : (sum of sizes,) int64
        Vertex indices, polygon after polygon; every index must exist.

    Returns
    -------
    Triangulation
        The triangles and how they were made.

    References
    ----------
    Ear clipping: G. H. Meisters, "Polygons have ears", American Mathematical Monthly 82 (1975) 648-651.

    Examples
    --------
    >>> square = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])
    >>> triangulate(square, np.array([4]), np.arange(4)).faces.tolist()
    [[0, 1, 2], [0, 2, 3]]
    """
    if (sizes == 3).all():
        return Triangulation(faces=corners.reshape(-1, 3), fanned=0, clipped=0, forced=0, short=0)
    begins = np.cumsum(sizes) - sizes
    made = np.maximum(sizes - 2, 0)
    faces = np.empty((int(made.sum()), 3), dtype=np.int64)
    places = np.cumsum(made) - made
    tally = {"fanned": 0, "clipped": 0, "forced": 0}
    tests = [MAX_EAR_TESTS]
    for size in np.unique(sizes[sizes >= 3]).tolist():
        rows = np.flatnonzero(sizes == size)
        polygons = corners[begins[rows][:, None] + np.arange(size)]
        triangles = polygons[:, None, :] if size == 3 else _cut(vertices, polygons, tests, tally)
        faces[places[rows][:, None] + np.arange(size - 2)] = triangles
    return Triangulation(faces=faces, short=int((sizes < 3).sum()), **tally)


def _cut(vertices: Points, polygons: IntArray, tests: list[int], tally: dict[str, int]) -> IntArray:
    """Return (m, size − 2, 3) triangles of polygons that all have the same size, and keep the tally."""
    start, fanned = _fan_starts(vertices, polygons)
    size = polygons.shape[1]
    turned = np.take_along_axis(polygons, (start[:, None] + np.arange(size)) % size, axis=1)
    cut = np.stack([np.repeat(turned[:, :1], size - 2, axis=1), turned[:, 1:-1], turned[:, 2:]], axis=2)
    tally["fanned"] += int(fanned.sum())
    for row in np.flatnonzero(~fanned):
        ears = clip_ears(np.asarray(vertices[polygons[row]], dtype=np.float64), tests)
        tally["forced" if ears is None else "clipped"] += 1
        if ears is not None:
            cut[row] = polygons[row][ears]
    return cut


def _fan_starts(vertices: Points, polygons: IntArray) -> tuple[IntArray, NDArray[np.bool_]]:
    """Return the first corner from which a fan covers each polygon, and whether there is one."""
    size = polygons.shape[1]
    start = np.zeros(len(polygons), dtype=np.int64)
    covered = np.zeros(len(polygons), dtype=np.bool_)
    tries = size if size <= 8 else min(size, max(1, int(5e6 / (polygons.size + 1))))
    for first in range(tries):
        left = np.flatnonzero(~covered)
        if len(left) == 0:
            break
        points = np.asarray(vertices[np.roll(polygons[left], -first, axis=1)], dtype=np.float64)
        good = _fan_faces_forward(points)
        start[left[good]] = first
        covered[left[good]] = True
    return start, covered


def _fan_faces_forward(points: FloatArray) -> NDArray[np.bool_]:
    """Return whether each polygon's fan from its first corner has triangles that all face its way."""
    spokes = points[:, 1:] - points[:, :1]
    normals = np.cross(spokes[:, :-1], spokes[:, 1:])
    total = normals.sum(axis=1)
    forward = np.einsum("pti,pi->pt", normals, total)
    floor = _FLAT * np.einsum("pi,pi->p", total, total)
    return np.asarray((forward > floor[:, None]).all(axis=1))


def clip_ears(points: FloatArray, tests: list[int]) -> IntArray | None:
    """Return the (n − 2, 3) triangles of one simple polygon, or None if there are no ears or tests left.

    Parameters
    ----------
    points : (n, 3) float64
        Corners in order; looked at along their mean normal.
    tests : list of one int
        How many ears may still be tried; counted down.
    """
    normal = np.cross(points - points[0], np.roll(points, -1, axis=0) - points[0]).sum(axis=0)
    if tests[0] < len(points) or not normal.any():
        return None
    flat = _flattened(points, normal / np.linalg.norm(normal))
    ring = np.arange(len(points))
    triangles = np.empty((len(points) - 2, 3), dtype=np.int64)
    for row in range(len(points) - 3):
        ear = _best_ear(flat[ring], tests)
        if ear is None:
            return None
        triangles[row] = ring[ear - 1], ring[ear], ring[(ear + 1) % len(ring)]
        ring = np.concatenate([ring[:ear], ring[ear + 1 :]])
    triangles[-1] = ring
    return triangles if _doubled_area(*flat[ring]) > 0.0 else None


def _flattened(points: FloatArray, unit: FloatArray) -> FloatArray:
    helper = np.eye(3)[int(np.argmin(np.abs(unit)))]
    across = np.cross(unit, helper)
    across /= np.linalg.norm(across)
    return np.asarray((points - points[0]) @ np.column_stack([across, np.cross(unit, across)]))


def _doubled_area(a: FloatArray, b: FloatArray, c: FloatArray) -> FloatArray:
    ab, ac = b - a, c - a
    return np.asarray(ab[..., 0] * ac[..., 1] - ab[..., 1] * ac[..., 0])


def _best_ear(ring: FloatArray, tests: list[int]) -> int | None:
    """Return the roundest corner whose triangle holds no other corner of the ring, or None."""
    before = np.concatenate([ring[-1:], ring[:-1]])
    after = np.concatenate([ring[1:], ring[:1]])
    area = _doubled_area(before, ring, after)
    lengths = _squares(ring - before) + _squares(after - ring) + _squares(after - before)
    quality = area / np.maximum(lengths, np.finfo(np.float64).tiny)
    reflex = area <= 0.0
    tests[0] -= _STEP_COST
    for ear in np.argsort(-quality, kind="stable"):
        if quality[ear] <= _FLAT or tests[0] <= 0:
            return None
        tests[0] -= 1 + len(ring) // _TEST_CORNERS
        others = reflex.copy()
        others[[ear - 1, (ear + 1) % len(ring)]] = False
        if not _inside(ring[others], before[ear], ring[ear], after[ear]).any():
            return int(ear)
    return None


def _squares(vectors: FloatArray) -> FloatArray:
    return np.asarray(vectors[:, 0] ** 2 + vectors[:, 1] ** 2)


def _inside(points: FloatArray, a: FloatArray, b: FloatArray, c: FloatArray) -> NDArray[np.bool_]:
    """Return which points lie in the triangle or on its rim, those at its corners left out."""
    within = (
        (_doubled_area(a, b, points) >= 0.0)
        & (_doubled_area(b, c, points) >= 0.0)
        & (_doubled_area(c, a, points) >= 0.0)
    )
    at_corner = (points == a).all(axis=1) | (points == b).all(axis=1) | (points == c).all(axis=1)
    return np.asarray(within & ~at_corner)
