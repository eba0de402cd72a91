"""Removing self-intersections from a closed draft, each where it lies."""

from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from mirrorprep.condition.draft import Draft, MendStep
from mirrorprep.geometry.outer_hull import outer_hull
from mirrorprep.geometry.patch_refinement import flip_to_delaunay
from mirrorprep.geometry.self_intersection import folded_pairs, self_intersections
from mirrorprep.geometry.splitting import part_double_edges, split_fans
from mirrorprep.geometry.topology import edge_table
from mirrorprep.geometry.weld import weld_exact

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_RELAX_ROUNDS: Final = 12
_WIDER_AFTER: Final = 5
_NUDGES: Final = (0.0, 1e-6, 1e-5, 1e-4)
_THIN: Final = 1e-3
_MOST_CUT: Final = 3000


def remove_self_intersections(draft: Draft) -> tuple[Draft, MendStep]:
    """Remove crossings: flip needles, cut and keep the outer surface, smooth folds that remain.

    1. Triangles folded flat onto a neighbour are needles as a rule; their long edges are flipped.
    2. Crossing triangles are cut along their crossings and the part that bounds the body kept; no vertex
       moves, or where triangles only touch or lie in one plane, by at most a ten-thousandth of the edge
       length. With thousands of crossings the next step comes first.
    3. Crossings between triangles that are near each other on the surface are folds; their vertices and a
       ring or two around move to the mean of their neighbours. A fold that this does not resolve is put back.
    """
    seams = weld_exact(draft.vertices)
    whole = replace(draft, faces=seams.kept[seams.label[draft.faces]])
    start = len(_meeting(whole))
    if start == 0:
        return draft, _step(0, 0, 0, 0, 0.0)
    if not _closed(whole):
        return draft, _step(start, 0, 0, start, 0.0)
    current = _without_needles(whole)
    pairs = _meeting(current)
    cut = smoothed = 0
    for attempt in ("cut", "smooth", "cut"):
        if len(pairs) == 0 or (attempt == "cut" and len(pairs) > _MOST_CUT):
            continue
        trial = _cut(current, pairs) if attempt == "cut" else _without_folds(current, pairs)
        rest = _meeting(trial)
        if len(rest) < len(pairs):
            cut += (len(pairs) - len(rest)) * (attempt == "cut")
            smoothed += (len(pairs) - len(rest)) * (attempt == "smooth")
            current, pairs = trial, rest
    lost = max(0.0, float(whole.areas_mm2().sum() - current.areas_mm2().sum()))
    return _separated(current), _step(start, smoothed, cut, len(pairs), lost)


def _closed(draft: Draft) -> bool:
    table = edge_table(draft.faces)
    return bool((table.forward == table.backward).all())


def _step(start: int, smoothed: int, cut: int, rest: int, lost_mm2: float) -> MendStep:
    flipped = start - smoothed - cut - rest
    how = (
        (flipped, "by flipping needles"),
        (cut, "by cutting"),
        (smoothed, "by smoothing folds"),
        (rest, "left"),
    )
    listed = ", ".join(f"{number} {way}" for number, way in how if number)
    return MendStep(
        name="remove-self-intersections",
        changed=start > rest,
        summary=f"{start} pairs of triangles met: {listed}." if start else "No self-intersections.",
        counts={
            "pairs": start,
            "flipped": flipped,
            "cut": cut,
            "smoothed": smoothed,
            "left": rest,
            "removed_mm2": lost_mm2,
        },
    )


def _separated(draft: Draft) -> Draft:
    """Give every fan its own vertex again, and sheets that share an edge a middle vertex each."""
    parts = split_fans(draft.vertices, draft.faces)
    vertices = np.concatenate([draft.vertices, draft.vertices[parts.copy_of]])
    vertices, faces, parent = part_double_edges(vertices, parts.faces)
    return replace(draft, vertices=vertices, faces=faces, source=draft.source[parent])


def _meeting(draft: Draft, among: BoolArray | None = None) -> IntArray:
    """Return crossing and folded pairs."""
    pairs = self_intersections(draft.vertices, draft.faces, among=among)
    if among is None:
        return np.concatenate([pairs, folded_pairs(draft.vertices, draft.faces)])
    marked = np.zeros(len(draft.vertices), dtype=bool)
    marked[draft.faces[among]] = True
    near = np.flatnonzero(marked[draft.faces].any(axis=1))
    folds = near[folded_pairs(draft.vertices, draft.faces[near])]
    return np.concatenate([pairs, folds[among[folds].any(axis=1)]])


def _changed(before: Draft, after: Draft) -> BoolArray:
    """Return the faces of `after` that are not faces of `before` at the same places."""
    same = np.zeros(len(after.faces), dtype=bool)
    whole = np.bincount(after.source[after.source >= 0], minlength=int(before.source.max(initial=0)) + 1) == 1
    own = np.flatnonzero(after.source >= 0)
    old = np.full(len(whole), -1, dtype=np.int64)
    listed = before.source >= 0
    old[before.source[listed]] = np.flatnonzero(listed)
    own = own[whole[after.source[own]] & (old[after.source[own]] >= 0)]
    match = old[after.source[own]]
    same[own] = (before.vertices[before.faces[match]] == after.vertices[after.faces[own]]).all(axis=(1, 2))
    return ~same


def _without_needles(draft: Draft) -> Draft:
    """Flip the edges of thin triangles that lie flat upon a neighbour."""
    folds = folded_pairs(draft.vertices, draft.faces)
    if len(folds) == 0:
        return draft
    near = np.isin(draft.faces, draft.faces[folds]).any(axis=1)
    region = np.flatnonzero(near)
    outside = draft.faces[~near]
    touching = outside[np.isin(outside, draft.faces[region]).sum(axis=1) >= 2]
    ring = edge_table(touching).edges if len(touching) else np.zeros((0, 2), dtype=np.int64)
    faces = draft.faces.copy()
    faces[region] = flip_to_delaunay(draft.vertices, draft.faces[region], ring, thinner_than=_THIN)
    return replace(draft, faces=faces)


def _without_folds(draft: Draft, pairs: IntArray) -> Draft:
    """Move the vertices of small folds to the mean of their neighbours until nothing meets there."""
    original, current = draft, draft
    touched = np.zeros(len(draft.vertices), dtype=bool)
    near = _near_on_surface(draft, pairs)
    for number in range(_RELAX_ROUNDS):
        if len(near) == 0:
            break
        region = np.zeros(len(draft.vertices), dtype=bool)
        region[draft.faces[near]] = True
        for _ in range(1 if number < _WIDER_AFTER else 2):
            region[draft.faces[region[draft.faces].any(axis=1)]] = True
        touched |= region
        rows = np.flatnonzero(region)
        current = current.with_moved(rows, _means(current, rows))
        near = _near_on_surface(current, _meeting(current, among=_of(touched, draft.faces)))
    return _accepted(original, current, touched)


def _of(marked: BoolArray, faces: IntArray) -> BoolArray:
    """Return the faces with a marked corner."""
    return np.asarray(marked[faces].any(axis=1))


def _near_on_surface(draft: Draft, pairs: IntArray) -> IntArray:
    """Return the pairs whose triangles hang together through meeting triangles and one ring around them."""
    if len(pairs) == 0:
        return pairs
    region = np.zeros(len(draft.vertices), dtype=bool)
    region[draft.faces[pairs]] = True
    around = draft.faces[region[draft.faces].any(axis=1)]
    label = _labels(around, len(draft.vertices))
    first = label[draft.faces[pairs[:, 0], 0]]
    return np.asarray(pairs[first == label[draft.faces[pairs[:, 1], 0]]])


def _labels(faces: IntArray, count: int) -> IntArray:
    links = (np.ones(2 * len(faces), dtype=np.int8), (faces[:, [0, 1]].ravel(), faces[:, [1, 2]].ravel()))
    return np.asarray(connected_components(coo_array(links, shape=(count, count)), directed=False)[1])


def _means(draft: Draft, rows: IntArray) -> FloatArray:
    """Return the mean of the neighbours of some vertices."""
    wanted = np.zeros(len(draft.vertices), dtype=bool)
    wanted[rows] = True
    edges = edge_table(draft.faces[wanted[draft.faces].any(axis=1)]).edges
    one, other = np.concatenate([edges, edges[:, ::-1]]).T
    keep = wanted[one]
    place = np.cumsum(wanted) - 1
    one, other = place[one[keep]], other[keep]
    valence = np.maximum(np.bincount(one, minlength=len(rows)), 1)
    sums = [np.bincount(one, draft.vertices[other, axis], len(rows)) for axis in range(3)]
    return np.asarray(np.stack(sums, axis=1) / valence[:, None])


def _accepted(original: Draft, current: Draft, touched: BoolArray) -> Draft:
    """Put the vertices of those regions back in which something still meets."""
    if not touched.any():
        return original
    among = _of(touched, current.faces)
    label = _labels(current.faces[among], len(current.vertices))
    pairs = _meeting(current, among=among)
    spoilt = np.zeros(len(current.vertices), dtype=bool)
    spoilt[np.unique(label[current.faces[pairs]])] = True
    back = touched & spoilt[label]
    vertices, moved = current.vertices.copy(), current.moved_mm.copy()
    vertices[back] = original.vertices[back]
    own = back[: len(moved)]
    moved[own] = original.moved_mm[own]
    return replace(current, vertices=vertices, moved_mm=moved)


def _cut(draft: Draft, pairs: IntArray) -> Draft:
    """Return the outer hull, triangles nudged apart where they only touch."""
    corners = np.unique(draft.faces[pairs])
    ends = draft.vertices[edge_table(draft.faces[np.unique(pairs)]).edges]
    step = float(np.median(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)))
    best, fewest = draft, len(pairs)
    for number, amount in enumerate(_NUDGES):
        noise = np.random.default_rng(number).uniform(-1.0, 1.0, size=(len(corners), 3))
        trial = (
            draft.with_moved(corners, draft.vertices[corners] + amount * step * noise) if amount else draft
        )
        meeting = self_intersections(trial.vertices, trial.faces)
        hull = outer_hull(trial.vertices, trial.faces, meeting)
        if hull is None:
            continue
        cut = replace(trial, vertices=hull.vertices, faces=hull.faces, source=trial.source[hull.parent])
        rest = len(_meeting(cut, among=_changed(trial, cut)))
        if rest < fewest:
            best, fewest = cut, rest
        if rest == 0:
            break
    return best
