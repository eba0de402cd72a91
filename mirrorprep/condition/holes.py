"""Filling the holes of a draft so that nothing crosses and curvature continues."""

from collections.abc import Callable, Iterable

import numpy as np
from numpy.typing import NDArray

from mirrorprep.condition.draft import Draft, MendStep, counted, places
from mirrorprep.geometry.borders import Border, border_loops
from mirrorprep.geometry.box_pairs import boxes_near
from mirrorprep.geometry.coplanar_borders import join_coplanar
from mirrorprep.geometry.hole_patch import (
    Hole,
    Patch,
    PatchKind,
    Surroundings,
    find_hole,
    flat_patch,
    plain_patch,
    smooth_patch,
)
from mirrorprep.geometry.nesting import nesting
from mirrorprep.geometry.self_intersection import meeting_pairs
from mirrorprep.geometry.topology import EdgeTable, bodies, edge_table

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
_Maker = Callable[[Surroundings, Hole], Patch | None]


def fill_holes(draft: Draft, *, smooth_angle_deg: float) -> tuple[Draft, MendStep]:
    """Close every border of the draft.

    Where the surface meets a hole at less than the angle to the hole's plane, its curvature is continued;
    elsewhere (the end of a tube, a cut base) the hole is capped with the least area. A patch that crosses
    the surface or another patch is replaced by a plainer one if that crosses less. Open sheets whose
    patches would enclose next to nothing are left open.
    """
    table = edge_table(draft.faces)
    found = border_loops(draft.faces, table)
    borders = join_coplanar(draft.vertices, _worth_filling(draft, table, found))
    if not borders:
        left = f"{counted(len(found), 'border')} of open sheets left." if found else "No holes."
        return draft, MendStep(
            name="fill-holes", changed=False, summary=left, counts={"holes": len(found), "filled": 0}
        )
    around = Surroundings(draft.vertices, draft.faces, table)
    flattest = float(np.cos(np.radians(smooth_angle_deg)))
    holes = [find_hole(around, border) for border in borders]
    ladders = [_ladder(not hole.border.joined and hole.slope > flattest) for hole in holes]
    patches = [_first(around, hole, ladder) for hole, ladder in zip(holes, ladders, strict=True)]
    boxes = _boxes(draft)
    crossing = _crossing(draft, boxes, borders, patches, range(len(borders)))
    for _ in range(2):
        retry = [i for i in np.flatnonzero(crossing).tolist() if ladders[i]]
        if not retry:
            break
        others = list(patches)
        for i in retry:
            others[i] = _first(around, holes[i], ladders[i])
        again = _crossing(draft, boxes, borders, others, retry)
        for i in retry:
            if again[i] < crossing[i]:
                patches[i], crossing[i] = others[i], again[i]
    return _filled(draft, borders, patches, len(found) - sum(border.parts for border in borders))


def _worth_filling(draft: Draft, table: EdgeTable, borders: list[Border]) -> list[Border]:
    """Return the borders of bodies that enclose something once these are closed."""
    if not borders:
        return borders
    count, body = bodies(draft.faces, len(draft.vertices))
    nobody = np.zeros(count, dtype=bool)
    plump = nesting(draft.vertices, draft.faces, body, nobody, table).plump
    of_vertex = np.zeros(len(draft.vertices), dtype=np.int64)
    of_vertex[draft.faces] = body[:, None]
    return [border for border in borders if plump[of_vertex[border.corners[0]]]]


def _ladder(smooth: bool) -> list[_Maker]:  # noqa: FBT001 - an inner switch
    plainer: list[_Maker] = [lambda _, hole: flat_patch(hole), lambda _, hole: plain_patch(hole)]
    return [smooth_patch, *plainer] if smooth else plainer


def _first(around: Surroundings, hole: Hole, ladder: list[_Maker]) -> Patch:
    """Return the first patch of the ladder that can be made, and take what was tried off the ladder."""
    while ladder:
        patch = ladder.pop(0)(around, hole)
        if patch is not None:
            return patch
    return plain_patch(hole)


def _joined(draft: Draft, borders: list[Border], patches: list[Patch]) -> tuple[Draft, IntArray]:
    """Return the draft with all patches and the patch number of each new face."""
    vertices, faces, owner, start = [], [], [], len(draft.vertices)
    for number, (border, patch) in enumerate(zip(borders, patches, strict=True)):
        numbers = np.concatenate([border.corners, start + np.arange(len(patch.vertices))])
        vertices.append(patch.vertices)
        faces.append(numbers[patch.faces])
        owner.append(np.full(len(patch.faces), number))
        start += len(patch.vertices)
    return draft.adding(np.concatenate(vertices), np.concatenate(faces)), np.concatenate(owner)


def _boxes(draft: Draft) -> tuple[FloatArray, FloatArray]:
    a, b, c = (draft.vertices[draft.faces[:, k]] for k in range(3))
    return np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)


def _crossing(
    draft: Draft,
    boxes: tuple[FloatArray, FloatArray],
    borders: list[Border],
    patches: list[Patch],
    asked: Iterable[int],
) -> IntArray:
    """Return in how many pairs that should not meet the asked patches are involved, 0 for the others."""
    asked = list(asked)
    close = np.zeros(len(draft.faces), dtype=bool)
    for number in asked:
        points = np.concatenate([draft.vertices[borders[number].corners], patches[number].vertices])
        low, high = points.min(axis=0), points.max(axis=0)
        close |= ((boxes[0] <= high) & (boxes[1] >= low)).all(axis=1)
    draft, boxes = draft.keeping(close), (boxes[0][close], boxes[1][close])
    whole, owner = _joined(draft, borders, patches)
    old = len(draft.faces)
    made = _boxes(whole.keeping(np.arange(len(whole.faces)) >= old))
    low, high = (np.concatenate([box, extra]) for box, extra in zip(boxes, made, strict=True))
    wanted = np.zeros(len(patches), dtype=bool)
    wanted[asked] = True
    marked = np.concatenate([np.zeros(old, dtype=bool), wanted[owner]])
    near = np.sort(boxes_near(low, high, marked))
    hit = near[meeting_pairs(whole.vertices, whole.faces[near], among=marked[near]).all].ravel() - old
    return np.bincount(owner[hit[hit >= 0]], minlength=len(patches)) * wanted


def _filled(draft: Draft, borders: list[Border], patches: list[Patch], left: int) -> tuple[Draft, MendStep]:
    whole, _ = _joined(draft, borders, patches)
    new = len(whole.faces) - len(draft.faces)
    area = float(whole.areas_mm2()[len(draft.faces) :].sum())
    count = {kind: sum(patch.kind is kind for patch in patches) for kind in PatchKind}
    rest = f" {counted(left, 'border')} of open sheets left." if left else ""
    step = MendStep(
        name="fill-holes",
        changed=True,
        summary=(
            f"{counted(len(borders), 'hole')} filled ({area:.3g} mm²), {count[PatchKind.SMOOTH]} with the "
            f"surface around continued, the others capped.{rest}"
        ),
        counts={
            "holes": len(borders) + left,
            "filled": len(borders),
            **{str(kind): number for kind, number in count.items()},
            "triangles": new,
            "area_mm2": area,
        },
        where=places(np.array([draft.vertices[border.corners].mean(axis=0) for border in borders])),
    )
    return whole, step
