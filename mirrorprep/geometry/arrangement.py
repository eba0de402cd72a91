"""Cutting all crossing triangles of a mesh along their common segments."""

from collections import defaultdict
from dataclasses import dataclass, field
from itertools import combinations, pairwise

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.crossings import Crossings
from mirrorprep.geometry.orientation import orientation_2d
from mirrorprep.geometry.triangle_subdivision import subdivide

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
_Name = tuple[int, ...]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Arrangement:
    """A mesh whose triangles meet in whole edges and vertices only.

    Attributes
    ----------
    vertices : (n + p, 3) float64
        The old vertices, then the crossing points.
    faces : (m, 3) int64
        Untouched triangles and the pieces of the cut ones, each running as its parent.
    parent : (m,) int64
        The old triangle of each.
    """

    vertices: FloatArray
    faces: IntArray
    parent: IntArray


@dataclass(slots=True)
class _Cuts:
    """What lies on one triangle."""

    inner: set[int] = field(default_factory=set)
    on_edge: dict[tuple[int, int], list[tuple[float, int]]] = field(default_factory=dict)
    segments: list[tuple[int, int, int]] = field(default_factory=list)


def arrange(vertices: FloatArray, faces: IntArray, found: Crossings) -> Arrangement | None:
    """Return the mesh with crossing triangles cut along their segments, or None where rounding forbids it.

    Parameters
    ----------
    vertices, faces : (n, 3) float64, (m, 3) int64
        The mesh.
    found : Crossings
        All its crossings, none unclear.

    Returns
    -------
    Arrangement or None
        None when two triangles would disagree about a point where three of them meet.

    Notes
    -----
    Q. Zhou, E. Grinspun, D. Zorin and A. Jacobson, "Mesh arrangements for solid geometry", ACM Transactions
    on Graphics 35 (2016), with signs decided exactly and crossing points rounded to double precision.
    """
    count = len(vertices)
    cuts = _cuts_by_face(faces, found, count)
    frames = {face: _frame(vertices, faces[face]) for face in cuts}
    places = np.concatenate([vertices, found.points])
    triple = _triple_points(cuts, frames, places, count + len(found.points))
    if triple is None:
        return None
    names, positions = triple
    places = np.concatenate([places, positions])
    pieces, parents = [], []
    for face, cut in cuts.items():
        part = _cut_face(faces[face], face, cut, frames[face], places, names)
        if part is None:
            return None
        pieces.append(part)
        parents.append(np.full(len(part), face))
    rest = np.delete(np.arange(len(faces)), list(cuts))
    return Arrangement(
        vertices=places,
        faces=np.concatenate([faces[rest], *pieces]),
        parent=np.concatenate([rest, *parents]),
    )


def _cuts_by_face(faces: IntArray, found: Crossings, count: int) -> dict[int, _Cuts]:
    cuts: dict[int, _Cuts] = defaultdict(_Cuts)
    ends = np.where(found.ends < 0, -1 - found.ends, count + found.ends)
    for (a, b), (start, stop) in zip(found.pairs.tolist(), ends.tolist(), strict=True):
        cuts[a].segments.append((start, stop, b))
        cuts[b].segments.append((start, stop, a))
    owners: dict[tuple[int, int], list[int]] = defaultdict(list)
    for face in list(cuts):
        corners = faces[face].tolist()
        for k in range(3):
            owners[min(corners[k], corners[k - 2]), max(corners[k], corners[k - 2])].append(face)
    for number, (edge, along, face) in enumerate(
        zip(found.edge.tolist(), found.along.tolist(), found.face.tolist(), strict=True)
    ):
        cuts[face].inner.add(count + number)
        for owner in owners[edge[0], edge[1]]:
            cuts[owner].on_edge.setdefault((edge[0], edge[1]), []).append((along, count + number))
    return dict(sorted(cuts.items()))


def _frame(vertices: FloatArray, corners: IntArray) -> tuple[int, int]:
    """Return the two axes onto which a triangle is projected counter-clockwise and largest."""
    a, b, c = vertices[corners]
    normal = np.cross(b - a, c - a)
    axis = int(np.argmax(np.abs(normal)))
    axes = ((1, 2), (2, 0), (0, 1))[axis]
    return axes if normal[axis] > 0.0 else (axes[1], axes[0])


def _triple_points(
    cuts: dict[int, _Cuts], frames: dict[int, tuple[int, int]], places: FloatArray, first: int
) -> tuple[dict[_Name, int], FloatArray] | None:
    """Name the points where three triangles meet, as each of the three must see them."""
    seen: dict[_Name, list[FloatArray]] = defaultdict(list)
    for face, cut in cuts.items():
        flat = places[:, frames[face]]
        for one, other in _crossing_segments(cut, flat):
            name = tuple(sorted((face, one[2], other[2])))
            seen[name].append(_meeting_point(places, one, other))
    if any(len(views) != 3 for views in seen.values()):
        return None
    names = {name: first + number for number, name in enumerate(sorted(seen))}
    positions = np.array([np.mean(seen[name], axis=0) for name in sorted(seen)]).reshape(-1, 3)
    return names, positions


def _crossing_segments(
    cut: _Cuts, flat: FloatArray
) -> list[tuple[tuple[int, int, int], tuple[int, int, int]]]:
    """Return the pairs of a triangle's segments that cross between their ends."""
    if len(cut.segments) < 2:
        return []
    pairs = [
        (one, other)
        for one, other in combinations(cut.segments, 2)
        if one[0] not in other[:2] and one[1] not in other[:2] and one[2] != other[2]
    ]
    if not pairs:
        return []
    a, b = (flat[[one[k] for one, _ in pairs]] for k in range(2))
    c, d = (flat[[other[k] for _, other in pairs]] for k in range(2))
    apart = orientation_2d(a, b, c) * orientation_2d(a, b, d) < 0
    apart &= orientation_2d(c, d, a) * orientation_2d(c, d, b) < 0
    return [pairs[row] for row in np.flatnonzero(apart)]


def _meeting_point(places: FloatArray, one: tuple[int, int, int], other: tuple[int, int, int]) -> FloatArray:
    """Return the point nearest to two segments in one plane."""
    p, q, r, s = places[[*one[:2], *other[:2]]]
    u, v, w = q - p, s - r, p - r
    normal = np.cross(u, v)
    share = float(np.cross(v, w) @ normal) / max(float(normal @ normal), 1e-300)
    return np.asarray(p + min(max(share, 0.0), 1.0) * u)


def _cut_face(
    corners: IntArray,
    face: int,
    cut: _Cuts,
    frame: tuple[int, int],
    places: FloatArray,
    names: dict[_Name, int],
) -> IntArray | None:
    """Return the pieces of one triangle as vertex numbers."""
    local = {int(vertex): k for k, vertex in enumerate(corners)}

    def number(vertex: int) -> int:
        return local.setdefault(vertex, len(local))

    sides = []
    for k in range(3):
        low, high = int(corners[k]), int(corners[k - 2])
        between = sorted(cut.on_edge.get((min(low, high), max(low, high)), []))
        if len({along for along, _ in between} - {0.0, 1.0}) != len(between):
            return None
        points = [vertex for _, vertex in between]
        sides.append([number(v) for v in (low, *(points if low < high else reversed(points)), high)])
    segments = [
        (number(start), number(stop))
        for segment in cut.segments
        for start, stop in _chain(segment, face, cut, places, names)
    ]
    for vertex in cut.inner:
        number(vertex)
    vertices = np.array(list(local), dtype=np.int64)
    joins = np.array(segments, dtype=np.int64).reshape(-1, 2)
    parts = subdivide(places[vertices][:, frame], sides, joins)
    return None if parts is None else vertices[parts]


def _chain(
    segment: tuple[int, int, int], face: int, cut: _Cuts, places: FloatArray, names: dict[_Name, int]
) -> list[tuple[int, int]]:
    """Return a segment as steps from one triple point on it to the next."""
    start, stop, partner = segment
    others = {other[2] for other in cut.segments} - {partner}
    stops = [names[name] for other in others if (name := tuple(sorted((face, partner, other)))) in names]
    direction = places[stop] - places[start]
    stops.sort(key=lambda vertex: float((places[vertex] - places[start]) @ direction))
    path = [start, *stops, stop]
    return list(pairwise(path))
