"""The steps of mending that move nothing: weld, drop faulty faces and islands, orient, split."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from mirrorprep.condition.draft import MOST_PLACES, Draft, MendStep, counted, places
from mirrorprep.condition.faults import repeats
from mirrorprep.geometry.nesting import Nesting, closed_bodies, nesting
from mirrorprep.geometry.orienting import flips_and_pieces, paired_half_edges, pieces
from mirrorprep.geometry.splitting import split_fans
from mirrorprep.geometry.topology import bodies, edge_table
from mirrorprep.geometry.weld import weld_exact, weld_within

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


def weld(draft: Draft, *, tolerance_mm: float) -> tuple[Draft, MendStep]:
    """Join vertices at one place, then those on open edges that lie within the tolerance.

    Vertices off the open edges are only joined when they coincide, so that thin walls keep their two sides.
    The first vertex of a group stands for it; the others move onto it.
    """
    same = weld_exact(draft.vertices)
    faces = same.kept[same.label[draft.faces]]
    joined = same.merged
    moved, distance = 0, draft.moved_mm
    if tolerance_mm > 0.0:
        table = edge_table(faces)
        rim = np.flatnonzero(np.bincount(table.edges[table.open].ravel(), minlength=len(draft.vertices)))
        near = weld_within(draft.vertices[rim], tolerance_mm)
        target = np.arange(len(draft.vertices))
        target[rim] = rim[near.kept[near.label]]
        faces = target[faces]
        moved = near.merged
        distance = distance + np.linalg.norm(draft.vertices[target] - draft.vertices, axis=1)
    same_place = counted(joined, "vertex", "vertices")
    said = f"{same_place} joined at the same place, {moved} within {tolerance_mm:.3g} mm."
    step = MendStep(
        name="weld",
        changed=joined + moved > 0,
        summary=said if joined + moved else "No vertices to join.",
        counts={"joined": joined, "moved": moved, "tolerance_mm": tolerance_mm},
    )
    return replace(draft, faces=faces, moved_mm=distance), step


def drop_faulty_faces(draft: Draft) -> tuple[Draft, MendStep]:
    """Drop faces that repeat a vertex and repetitions of a face.

    Of faces with the same corners one is kept where the surface around needs it to close, none where two
    of them only form a sheet without thickness.
    """
    faces = draft.faces
    whole = (faces != np.roll(faces, 1, axis=1)).all(axis=1)
    collapsed = int((~whole).sum())
    draft = draft.keeping(whole) if collapsed else draft
    group = repeats(draft.faces)
    kept = np.ones(len(draft.faces), dtype=bool)
    kept[group.extra] = False
    repeated = int((~kept).sum())
    if repeated:
        kept[_sheets(draft.faces, group.first[group.size > 1], group.size[group.size > 1], kept)] = False
        draft = draft.keeping(kept)
    repeated = int((~kept).sum())
    said = f"{counted(collapsed, 'triangle')} of a repeated vertex and {repeated} repeated ones dropped."
    step = MendStep(
        name="drop-faulty-faces",
        changed=collapsed + repeated > 0,
        summary=said if collapsed + repeated else "No faulty triangles.",
        counts={"collapsed": collapsed, "repeated": repeated},
    )
    return draft, step


def _sheets(faces: IntArray, first: IntArray, size: IntArray, kept: BoolArray) -> IntArray:
    """Return the kept faces of evenly repeated groups that no open edge around needs."""
    table = edge_table(faces[kept])
    row = np.cumsum(kept) - 1
    uses = table.uses[table.of_face[row[first]]]
    needed = (uses == 2).sum(axis=1)
    return np.asarray(first[(size % 2 == 0) & (needed < 2) & (uses > 2).any(axis=1)])


def drop_islands(draft: Draft, *, least_share: float, least_open_share: float) -> tuple[Draft, MendStep]:
    """Drop bodies whose area is less than a share of the largest body's, another share for open ones."""
    count, body = bodies(draft.faces, len(draft.vertices))
    area = np.bincount(body, draft.areas_mm2(), count)
    largest = area.max(initial=0.0)
    small = area < max(least_share, least_open_share) * largest
    closed = np.ones(count, dtype=bool)
    if small.any():
        asked = small[body]
        closed[: int(body[asked].max()) + 1] = closed_bodies(edge_table(draft.faces[asked]), body[asked])
        small = area < np.where(closed, least_share, least_open_share) * largest
    triangles = np.bincount(body, minlength=count)
    middle = np.stack(
        [np.bincount(body, draft.vertices[draft.faces[:, 0], k], count) / triangles for k in range(3)], axis=1
    )
    listed = np.flatnonzero(small)[np.argsort(-area[small], kind="stable")]
    total = float(area[small].sum())
    step = MendStep(
        name="drop-islands",
        changed=len(listed) > 0,
        summary=f"{len(listed)} of {counted(count, 'body', 'bodies')} dropped, {total:.3g} mm² in all."
        if len(listed)
        else "No islands.",
        counts={
            "bodies": count,
            "dropped": len(listed),
            "triangles": int(triangles[small].sum()),
            "dropped_mm2": total,
        },
        where=places(middle[listed]),
        details=tuple(
            f"{'closed' if closed[i] else 'open'} body of {triangles[i]} triangles, {area[i]:.3g} mm²"
            for i in listed[:MOST_PLACES]
        ),
    )
    return (draft.keeping(~small[body]) if len(listed) else draft), step


def orient(draft: Draft) -> tuple[Draft, MendStep]:
    """Turn faces so that neighbours agree, then bodies so that the outermost face outward.

    A body within another keeps its sense relative to it: a void stays a void. A sheet that encloses nothing
    is left as it is.
    """
    pairs = paired_half_edges(draft.faces)
    flip, piece = flips_and_pieces(draft.faces, draft.areas_mm2(), pairs)
    single = int(flip.sum())
    faces = np.where(flip[:, None], draft.faces[:, ::-1], draft.faces)
    anything = np.ones(int(piece.max(initial=-1)) + 1, dtype=bool)
    nest = nesting(draft.vertices, faces, piece, anything, edge_table(faces))
    turned = _bodies_to_turn(nest)
    faces = np.where(turned[piece][:, None], faces[:, ::-1], faces)
    whole = int(turned.sum())
    turned_whole = counted(whole, "body", "bodies")
    said = f"{counted(single, 'triangle')} turned like their neighbours, {turned_whole} turned whole."
    step = MendStep(
        name="orient",
        changed=single + whole > 0,
        summary=said if single + whole else "Nothing to turn.",
        counts={"triangles": single, "bodies": whole},
    )
    return replace(draft, faces=faces), step


def _bodies_to_turn(nest: Nesting) -> BoolArray:
    depth = nest.depth()
    turned = np.asarray(nest.volume_mm3 < 0.0) & nest.plump & (depth == 0)
    for level in range(1, int(depth.max(initial=0)) + 1):
        parents = nest.inside[(depth[nest.inside[:, 0]] == level) & (depth[nest.inside[:, 1]] == level - 1)]
        turned[parents[:, 0]] = turned[parents[:, 1]]
    return np.asarray(turned)


def split(draft: Draft, *, least_share: float = 0.0, least_open_share: float = 0.0) -> tuple[Draft, MendStep]:
    """Repeat vertices so that no edge has more than two triangles and no vertex more than one fan.

    What hung by a corner or a crowded edge alone is a body of its own then; such bodies below the shares of
    `drop_islands` are dropped.
    """
    parts = split_fans(draft.vertices, draft.faces)
    fins = _fins(draft, least_open_share) if parts.edges else np.zeros(len(draft.faces), dtype=bool)
    lost = float(draft.areas_mm2()[fins].sum())
    if lost:
        draft = draft.keeping(~fins)
        parts = split_fans(draft.vertices, draft.faces)
    copies = len(parts.copy_of)
    vertices = np.concatenate([draft.vertices, draft.vertices[parts.copy_of]])
    draft = replace(draft, vertices=vertices, faces=parts.faces)
    details: tuple[str, ...] = ()
    dropped = int(fins.sum())
    if copies:
        before = len(draft.faces)
        draft, islands = drop_islands(draft, least_share=least_share, least_open_share=least_open_share)
        lost += islands.counts["dropped_mm2"]
        dropped += before - len(draft.faces)
        details = islands.details
    said = f"{counted(parts.edges, 'edge')} and {counted(copies, 'vertex', 'vertices')} taken apart"
    loose = f", {counted(dropped, 'triangle')} that hung loose dropped" if dropped else ""
    return draft, MendStep(
        name="split",
        changed=copies + dropped > 0,
        summary=f"{said}{loose}." if copies + dropped else "Nothing to take apart.",
        counts={"edges": parts.edges, "vertices": copies, "dropped": dropped, "dropped_mm2": lost},
        where=places(vertices[parts.copy_of]),
        details=details,
    )


def _fins(draft: Draft, least_open_share: float) -> BoolArray:
    """Return the faces of small sheets that stand on an edge of others, free elsewhere."""
    table = edge_table(draft.faces)
    piece = pieces(draft.faces)
    area = np.bincount(piece, draft.areas_mm2())
    crowded, free = (
        np.bincount(piece, mark[table.of_face].any(axis=1)) > 0 for mark in (table.non_manifold, table.open)
    )
    return np.asarray((crowded & free & (area < least_open_share * area.max(initial=0.0)))[piece])
