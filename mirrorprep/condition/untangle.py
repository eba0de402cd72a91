"""Removing self-intersections from a closed draft, each where it lies."""

from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from mirrorprep.condition.draft import Draft, MendStep, counted, places
from mirrorprep.geometry.outer_hull import outer_hull
from mirrorprep.geometry.patch_refinement import flip_to_delaunay
from mirrorprep.geometry.self_intersection import meeting_pairs
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
    whole = replace(draft, faces=seams.kept[seams.label[draft.faces]]) if seams.merged else draft
    met = meeting_pairs(whole.vertices, whole.faces).all
    if len(met) == 0:
        return draft, _step(0, 0, 0, 0)
    if not _closed(whole):
        return draft, _step(len(met), 0, 0, len(met))
    current, pairs = _without_needles(whole, met)
    cut = smoothed = 0
    for attempt in ("cut", "smooth", "cut"):
        if len(pairs) == 0 or (attempt == "cut" and len(pairs) > _MOST_CUT):
            continue
        trial, rest = _cut(current, pairs) if attempt == "cut" else _without_folds(current, pairs)
        cut += (len(pairs) - len(rest)) * (attempt == "cut")
        smoothed += (len(pairs) - len(rest)) * (attempt == "smooth")
        current, pairs = trial, rest
    lost = max(0.0, float(whole.areas_mm2().sum() - current.areas_mm2().sum()))
    step = _step(len(met), smoothed, cut, len(pairs))
    where = places(whole.vertices[whole.faces[met]].mean(axis=(1, 2)))
    region = np.ones(len(current.vertices), dtype=bool)
    region[: len(whole.vertices)] = _marked(whole, met)
    region[seams.kept[np.bincount(seams.label) > 1]] = True
    return _separated(current, region), replace(
        step, counts={**step.counts, "removed_mm2": lost}, where=where
    )


def _closed(draft: Draft) -> bool:
    table = edge_table(draft.faces)
    return bool((table.forward == table.backward).all())


def _step(start: int, smoothed: int, cut: int, rest: int) -> MendStep:
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
        summary=f"{counted(start, 'pair')} of triangles met: {listed}."
        if start
        else "No self-intersections.",
        counts={
            "pairs": start,
            "flipped": flipped,
            "cut": cut,
            "smoothed": smoothed,
            "left": rest,
        },
    )


def _separated(draft: Draft, region: BoolArray) -> Draft:
    """Give the fans around marked vertices a vertex each, and sheets that share an edge a middle vertex."""
    near = np.flatnonzero(_of(region, draft.faces))
    parts = split_fans(draft.vertices, draft.faces[near])
    vertices = np.concatenate([draft.vertices, draft.vertices[parts.copy_of]])
    fans = np.where(region[draft.faces[near]], parts.faces, draft.faces[near])
    vertices, cut, parent = part_double_edges(vertices, fans)
    faces = draft.faces.copy()
    faces[near] = cut[: len(near)]
    more = near[parent[len(near) :]]
    return replace(
        draft,
        vertices=vertices,
        faces=np.concatenate([faces, cut[len(near) :]]),
        source=np.concatenate([draft.source, draft.source[more]]),
    )


def _after(draft: Draft, changed: BoolArray, before: IntArray) -> IntArray:
    """Return the pairs that meet after some faces changed, given those before by the same numbers."""
    kept = before[~changed[before].any(axis=1)]
    return np.concatenate([kept, meeting_pairs(draft.vertices, draft.faces, among=changed).all])


def _without_needles(draft: Draft, pairs: IntArray) -> tuple[Draft, IntArray]:
    """Flip the edges of thin triangles about the places where triangles meet."""
    near = _of(_marked(draft, pairs), draft.faces)
    region, outside = np.flatnonzero(near), draft.faces[~near]
    rim = np.zeros(len(draft.vertices), dtype=bool)
    rim[draft.faces[region]] = True
    touching = outside[rim[outside].sum(axis=1) >= 2]
    bridges = edge_table(touching).edges if len(touching) else np.zeros((0, 2), dtype=np.int64)
    faces = draft.faces.copy()
    faces[region] = flip_to_delaunay(draft.vertices, draft.faces[region], bridges, thinner_than=_THIN)
    changed = (faces != draft.faces).any(axis=1)
    flipped = replace(draft, faces=faces)
    rest = _after(flipped, changed, pairs)
    return (flipped, rest) if len(rest) < len(pairs) else (draft, pairs)


def _without_folds(draft: Draft, pairs: IntArray) -> tuple[Draft, IntArray]:
    """Move the vertices of small folds to the mean of their neighbours until nothing meets there."""
    current = draft
    touched = np.zeros(len(draft.vertices), dtype=bool)
    near, rest = _near_on_surface(draft, pairs), pairs
    for number in range(_RELAX_ROUNDS):
        if len(near) == 0:
            break
        region = _marked(draft, near)
        for _ in range(1 if number < _WIDER_AFTER else 2):
            region[draft.faces[_of(region, draft.faces)]] = True
        touched |= region
        rows = np.flatnonzero(region)
        current = current.with_moved(rows, _means(current, rows))
        rest = _after(current, _of(touched, draft.faces), pairs)
        near = _near_on_surface(current, rest[touched[draft.faces[rest]].any(axis=(1, 2))])
    back = _spoilt(current, rest, touched)
    vertices, moved = current.vertices.copy(), current.moved_mm.copy()
    vertices[back] = draft.vertices[back]
    own = back[: len(moved)]
    moved[own] = draft.moved_mm[own]
    settled = replace(current, vertices=vertices, moved_mm=moved)
    rest = _after(settled, _of(touched, draft.faces), pairs)
    return (settled, rest) if len(rest) < len(pairs) else (draft, pairs)


def _marked(draft: Draft, pairs: IntArray) -> BoolArray:
    """Return the vertices of the triangles of some pairs."""
    marked = np.zeros(len(draft.vertices), dtype=bool)
    marked[draft.faces[pairs]] = True
    return marked


def _of(marked: BoolArray, faces: IntArray) -> BoolArray:
    """Return the faces with a marked corner."""
    return np.asarray(marked[faces].any(axis=1))


def _spoilt(draft: Draft, pairs: IntArray, touched: BoolArray) -> BoolArray:
    """Return the touched vertices of regions in which something still meets."""
    label = _labels(draft.faces[_of(touched, draft.faces)], len(draft.vertices))
    spoilt = np.zeros(len(draft.vertices), dtype=bool)
    spoilt[label[draft.faces[pairs]].ravel()] = True
    return np.asarray(touched & spoilt[label])


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


def _cut(draft: Draft, pairs: IntArray) -> tuple[Draft, IntArray]:
    """Return the outer hull and what still meets, triangles nudged apart where they only touch."""
    corners = np.flatnonzero(_marked(draft, pairs))
    around = _of(_marked(draft, pairs), draft.faces)
    ends = draft.vertices[edge_table(draft.faces[np.unique(pairs)]).edges]
    step = float(np.median(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)))
    best, rest = draft, pairs
    for number, amount in enumerate(_NUDGES):
        trial, meeting = draft, pairs
        if amount:
            noise = np.random.default_rng(number).uniform(-1.0, 1.0, size=(len(corners), 3))
            trial = draft.with_moved(corners, draft.vertices[corners] + amount * step * noise)
            meeting = _after(trial, around, pairs)
        crossing = _crossing(trial, meeting)
        hull = outer_hull(trial.vertices, trial.faces, crossing)
        if hull is None:
            continue
        cut = replace(trial, vertices=hull.vertices, faces=hull.faces, source=trial.source[hull.parent])
        left = meeting_pairs(cut.vertices, cut.faces, among=_of_cut(hull.parent, crossing)).all
        if len(left) < len(rest):
            best, rest = cut, left
        if len(left) == 0:
            break
    return best, rest


def _crossing(draft: Draft, pairs: IntArray) -> IntArray:
    """Return those pairs that share at most one corner."""
    a, b = draft.faces[pairs[:, 0]], draft.faces[pairs[:, 1]]
    return np.asarray(pairs[(a[:, :, None] == b[:, None, :]).sum(axis=(1, 2)) < 2])


def _of_cut(parent: IntArray, pairs: IntArray) -> BoolArray:
    """Return the faces that are pieces of a crossing one."""
    cut = np.zeros(int(parent.max(initial=0)) + 1, dtype=bool)
    cut[pairs[pairs < len(cut)]] = True
    return np.asarray(cut[parent])
