"""The surface between outside and inside of a mesh that crosses itself."""

from collections import defaultdict, deque
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.arrangement import Arrangement, arrange
from mirrorprep.geometry.crossings import crossings
from mirrorprep.geometry.normals import doubled_areas
from mirrorprep.geometry.orienting import pieces
from mirrorprep.geometry.topology import half_edge_groups
from mirrorprep.geometry.winding_number import quick_winding_numbers

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_LIFT: Final = 1e-3
_TRIES: Final = 5


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class OuterHull:
    """The part of a crossing mesh that bounds the region wound round at least once.

    Attributes
    ----------
    vertices : (n + p, 3) float64
        The old vertices, unmoved, then the points where an edge pierces a triangle or three triangles meet.
    faces : (m, 3) int64
        Triangles between outside and inside.
    parent : (m,) int64
        The old triangle of each.
    """

    vertices: FloatArray
    faces: IntArray
    parent: IntArray


def outer_hull(vertices: FloatArray, faces: IntArray, pairs: IntArray) -> OuterHull | None:
    """Return the boundary of the region with winding number one or more.

    Parameters
    ----------
    vertices, faces : (n, 3) float64, (m, 3) int64
        Closed and consistently oriented.
    pairs : (k, 2) int64
        All pairs of faces that cross.

    Returns
    -------
    OuterHull or None
        None when triangles touch or lie in one plane, or when rounding spoils the cutting.

    Notes
    -----
    Crossing triangles are cut along their segments (`mirrorprep.geometry.arrangement`); the surface falls
    into patches between the cuts. Around a cut the winding number changes by one at each sheet, which fixes
    it for all patches that hang together once one is known from its solid angles. Folds, pockets turned
    inside out and the inner parts of overlapping bodies disappear.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> one, two = box([2, 2, 2]).mesh, box([2, 2, 2], center_mm=[0.9, 0.8, 0.7]).mesh
    >>> faces = np.concatenate([one.faces, two.faces + len(one.vertices)])
    >>> corners = np.concatenate([one.vertices, two.vertices])
    >>> from mirrorprep.geometry.self_intersection import self_intersections
    >>> hull = outer_hull(corners, faces, self_intersections(corners, faces))
    >>> from mirrorprep.geometry.mass_properties import signed_volume_mm3
    >>> round(signed_volume_mm3(hull.vertices, hull.faces), 9), 16 - round(1.1 * 1.2 * 1.3, 9)
    (14.284, 14.284)
    """
    found = crossings(vertices, faces, pairs)
    if len(found.unclear):
        return None
    whole = arrange(vertices, faces, found)
    if whole is None:
        return None
    front = _winding_in_front(whole)
    if front is None:
        return None
    kept = front == 0
    return OuterHull(vertices=whole.vertices, faces=whole.faces[kept], parent=whole.parent[kept])


def _winding_in_front(whole: Arrangement) -> IntArray | None:
    """Return the winding number in front of each face; 0 also for bodies that meet nothing."""
    patch = pieces(whole.faces)
    steps = _steps(whole, patch)
    if steps is None:
        return None
    links: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for one, other, step in steps:
        links[one].append((other, step))
        links[other].append((one, -step))
    twice = np.linalg.norm(doubled_areas(whole.vertices, whole.faces), axis=1)
    front = np.zeros(int(patch.max()) + 1, dtype=np.int64)
    reached: set[int] = set()
    for start in sorted(links):
        if start in reached:
            continue
        relative = _spread(start, links)
        reached |= set(relative)
        seed = _seed(whole, patch, twice, relative)
        if seed is None:
            return None
        for number, step in relative.items():
            front[number] = step + seed
    return front[patch]


def _spread(start: int, links: dict[int, list[tuple[int, int]]]) -> dict[int, int]:
    relative, queue = {start: 0}, deque([start])
    while queue:
        here = queue.popleft()
        for other, step in links[here]:
            if other not in relative:
                relative[other] = relative[here] + step
                queue.append(other)
    return relative


def _seed(whole: Arrangement, patch: IntArray, twice: FloatArray, relative: dict[int, int]) -> int | None:
    """Return what to add to the relative winding numbers, measured in front of a few large faces."""
    group = np.isin(patch, list(relative))
    inside = whole.faces[group]
    chosen = np.flatnonzero(group)[np.argsort(-twice[group], kind="stable")[:_TRIES]]
    a, b, c = (whole.vertices[whole.faces[chosen, k]] for k in range(3))
    normal = np.cross(b - a, c - a)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    places = (a + b + c) / 3.0 + _LIFT * np.sqrt(twice[chosen])[:, None] * normal
    winding = quick_winding_numbers(places, whole.vertices, inside)
    votes = np.round(winding).astype(np.int64) - np.array([relative[p] for p in patch[chosen]])
    sure = np.abs(winding - np.round(winding)) < 0.1
    if not sure.any():
        return None
    values, counts = np.unique(votes[sure], return_counts=True)
    return int(values[np.argmax(counts)])


def _steps(whole: Arrangement, patch: IntArray) -> list[tuple[int, int, int]] | None:
    """Return for pairs of patches at a cut by how much the winding number in front differs."""
    faces = whole.faces
    start, stop = faces.ravel(), faces[:, [1, 2, 0]].ravel()
    groups = half_edge_groups(faces).crowded()
    length = [float(np.linalg.norm(whole.vertices[start[g[0]]] - whole.vertices[stop[g[0]]])) for g in groups]
    best: dict[tuple[int, int], tuple[float, int]] = {}
    for group, weight in zip(groups, length, strict=True):
        around = _around(whole, group, start, stop)
        if around is None:
            return None
        for one, other, step in around:
            p, q = int(patch[one]), int(patch[other])
            name, value = ((p, q), step) if p < q else ((q, p), -step)
            if p != q and weight > best.get(name, (-1.0, 0))[0]:
                best[name] = (weight, value)
    ranked_steps = sorted(best.items(), key=lambda item: -item[1][0])
    return [(one, other, step) for (one, other), (_, step) in ranked_steps]


def _around(
    whole: Arrangement, group: IntArray, start: IntArray, stop: IntArray
) -> list[tuple[int, int, int]] | None:
    """Return the faces around an edge in order, with the change of winding number from each to the next."""
    low, high = int(min(start[group[0]], stop[group[0]])), int(max(start[group[0]], stop[group[0]]))
    along = start[group] == low
    if 2 * int(along.sum()) != len(group):
        return None
    face, corner = np.divmod(group, 3)
    axis = whole.vertices[high] - whole.vertices[low]
    reach = whole.vertices[whole.faces[face, (corner + 2) % 3]] - whole.vertices[low]
    across = reach - np.outer(reach @ axis, axis) / float(axis @ axis)
    side = np.cross(axis, across[0]) / float(np.linalg.norm(axis))
    angle = np.arctan2(across @ side, across @ across[0])
    ring = np.argsort(angle, kind="stable")
    # Before the first face the winding number is called 0; a face that runs along lowers it, one that runs
    # against raises it. The wedge in front of a face comes after it in the first case, before in the second.
    change = np.where(along[ring], -1, 1)
    after = np.cumsum(change)
    front = np.where(along[ring], after, after - change)
    return [
        (int(face[ring[i]]), int(face[ring[i + 1]]), int(front[i + 1] - front[i]))
        for i in range(len(ring) - 1)
    ]
