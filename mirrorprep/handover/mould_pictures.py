"""Pictures of the mould: taken apart, from behind, cut open, its undercuts, its draft."""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import ConvexHull

from mirrorprep.handover.bodies import body, mapped_body, surface, three, turned
from mirrorprep.handover.keys import BAR_FOOT, LEGEND_FOOT, color_bar, draw_path, legend
from mirrorprep.handover.palette import (
    CHANNEL,
    DEPTH,
    HALF_A,
    HALF_B,
    INK,
    PART,
    ColorMap,
    rounded_range,
)
from mirrorprep.handover.panel import Body, View
from mirrorprep.handover.sheet import PanelSpec, Sheet, strip
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.primitives import frame_along
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]

HATCH_A: Final = 45.0
HATCH_B: Final = -45.0
EXPLODED: Final = ((620, 860), (500, 860), (500, 860))
SECTION: Final = (760, 820)
BACKS: Final = (560, 700)
UNDERCUT: Final = (520, 760)
DRAFT_DEG: Final = 15.0
DRAFT_MAP: Final = ColorMap(name="draft", table=DEPTH.table[::-1], diverging=True)


def picture_exploded(
    half_a: ScanMesh | Solid,
    half_b: ScanMesh | Solid,
    part: ScanMesh | Solid,
    pull_direction: ArrayLike,
    *,
    up: ArrayLike | None = None,
) -> bytes:
    """Draw the mould taken apart along the pull direction, and both halves with their cavity up.

    Parameters
    ----------
    half_a, half_b : ScanMesh or Solid
        The halves, closed.
    part : ScanMesh or Solid
        What is cast.
    pull_direction : (3,) array
        Direction in which the mould opens.
    up : (3,) array, optional
        The direction that is up when pouring; it is up in the views of the halves too.

    Returns
    -------
    bytes
        A PNG file.
    """
    pull = _unit(pull_direction)
    halves = {"half_a": (surface(half_a), HALF_A), "half_b": (surface(half_b), HALF_B)}
    names = sorted(halves, key=lambda name: -float(halves[name][0].bounds_mm.mean(axis=0) @ pull))
    upper, lower = (halves[name][0] for name in names)
    colors = [halves[names[0]][1], PART, halves[names[1]][1]]
    meshes = [upper, surface(part), lower]
    moved = [
        mesh.with_geometry(mesh.vertices + shift * pull)
        for mesh, shift in zip(meshes, _shifts(upper, meshes[1], lower, pull), strict=True)
    ]
    shown = [body(mesh, color) for mesh, color in zip(moved, colors, strict=True)]
    side = side_view(pull, np.concatenate([upper.vertices, lower.vertices]), up=up)
    specs = [
        PanelSpec(bodies=shown, view=turned(side, right_deg=30, up_deg=22), title="opened along the pull"),
        PanelSpec(bodies=[shown[0]], view=face_view(side, -pull), title=f"{names[0]}, cavity side"),
        PanelSpec(bodies=[shown[2]], view=face_view(side, pull), title=f"{names[1]}, cavity side"),
    ]
    sheet = strip(specs, panel_px=EXPLODED, foot_px=LEGEND_FOOT, common_scale=False)
    _draw_axis(sheet, moved, pull)
    legend(sheet, [(HALF_A, "half_a"), (PART, "part"), (HALF_B, "half_b"), ("-" + INK, "pull direction")])
    return sheet.png()


def picture_backs(
    half_a: ScanMesh | Solid,
    half_b: ScanMesh | Solid,
    pull_direction: ArrayLike,
    *,
    up: ArrayLike,
) -> bytes:
    """Draw the closed mould from behind each half and from below: nut pockets, screw seats, feet and marks.

    Parameters
    ----------
    half_a, half_b : ScanMesh or Solid
        The halves, closed.
    pull_direction : (3,) array
        Direction in which half_a moves.
    up : (3,) array
        The direction that is up when pouring.

    Returns
    -------
    bytes
        A PNG file.
    """
    pull, upward = _unit(pull_direction), _unit(up)
    shown = [body(surface(half_a), HALF_A), body(surface(half_b), HALF_B)]
    specs = [
        PanelSpec(bodies=shown, view=View(toward=three(toward), up=three(top)), title=title)
        for toward, top, title in (
            (pull, upward, "back of half_a"),
            (-pull, upward, "back of half_b"),
            (-upward, pull, "from below, pull upward"),
        )
    ]
    sheet = strip(specs, panel_px=BACKS, foot_px=LEGEND_FOOT)
    legend(sheet, [(HALF_A, "half_a"), (HALF_B, "half_b")])
    return sheet.png()


def _shifts(upper: ScanMesh, part: ScanMesh, lower: ScanMesh, pull: FloatArray) -> tuple[float, float, float]:
    """Return how far each goes along the pull so that none hides another."""
    high, middle, low = (mesh.vertices @ pull for mesh in (upper, part, lower))
    gap = 0.15 * float(np.ptp(middle)) + 0.03 * upper.diagonal_mm
    return (
        max(float(middle.max() - high.min()) + gap, gap),
        0.0,
        min(float(middle.min() - low.max()) - gap, -gap),
    )


def _unit(direction: ArrayLike) -> FloatArray:
    vector = np.asarray(direction, dtype=np.float64)
    return np.asarray(vector / np.linalg.norm(vector))


def side_view(pull: ArrayLike, points: FloatArray, *, up: ArrayLike | None = None) -> View:
    """Return the view on the broad side with the pull upward, square to the smallest box around it.

    With `up`, the eye stands so that this direction goes to the right of the picture.
    """
    upward = _unit(pull)
    frame = frame_along(upward)[:, :2]
    across = points @ frame
    corners = across[ConvexHull(across).vertices]
    edges = np.diff(np.vstack([corners, corners[:1]]), axis=0)
    edges = edges / np.linalg.norm(edges, axis=1, keepdims=True)
    normals = np.column_stack([-edges[:, 1], edges[:, 0]])
    long_side, short_side = np.ptp(corners @ edges.T, axis=0), np.ptp(corners @ normals.T, axis=0)
    areas = np.round(long_side * short_side, 9)
    best = int(np.argmin(areas))
    along = edges[best] if long_side[best] >= short_side[best] else normals[best]
    right = frame @ along
    if up is not None:
        wanted = np.asarray(up, dtype=np.float64) @ frame
        right = frame @ (along if abs(along @ wanted) >= 0.5 else np.array([-along[1], along[0]]))
        right = right * (1.0 if right @ np.asarray(up, dtype=np.float64) >= 0 else -1.0)
    elif right[int(np.argmax(np.abs(right)))] < 0:
        right = -right
    return View(toward=three(np.cross(right, upward)), up=three(upward))


def face_view(side: View, toward: ArrayLike) -> View:
    """Return the view straight onto a parting face; what goes right in the side view goes up."""
    return View(toward=three(toward), up=three(side.axes()[0]))


def _draw_axis(sheet: Sheet, moved: Sequence[ScanMesh], pull: FloatArray) -> None:
    """Draw the line along which the mould opens, with a head at both ends."""
    panel = sheet.panels[0]
    middle = moved[1].bounds_mm.mean(axis=0)
    base = middle - (middle @ pull) * pull
    top, low = float((moved[0].vertices @ pull).max()), float((moved[2].vertices @ pull).min())
    reach = 0.06 * (top - low)
    draw_path(sheet, panel, [base + pull * (low - reach), base + pull * (top + reach)], width=2.2)
    for start, stop in ((top, top + reach), (low, low - reach)):
        first, last = panel.place([base + pull * start, base + pull * stop])
        if start == top:
            sheet.arrow(first, last, head=18)
        else:
            sheet.arrow(last - 0.01 * (last - first), last + 0.2 * (last - first), head=18)


def picture_cutaway(
    mould: Sequence[Solid],
    casting: Solid | None,
    channels: Solid | None,
    cut: Plane,
    *,
    up: ArrayLike = (0.0, 0.0, 1.0),
) -> bytes:
    """Draw the closed mould cut open: section lines on the cut, casting and channels in place.

    Parameters
    ----------
    mould : sequence of Solid
        One half or both; what lies on the positive side of the cut is taken away.
    casting, channels : Solid or None
        What is cast, and sprue, cup and vents.
    cut : Plane
        The section, best through the axis of the sprue.
    up : (3,) array
        The direction that is up when pouring.

    Returns
    -------
    bytes
        A PNG file.
    """
    names = (("half_a", HALF_A, HATCH_A, "/"), ("half_b", HALF_B, HATCH_B, "\\"))
    shown: list[Body] = []
    for solid, (_, color, hatch, _sign) in zip(mould, names, strict=False):
        shown += _cut_bodies(solid, cut, color, hatch)
    for inner, color in ((casting, PART), (channels, CHANNEL)):
        if inner is not None:
            shown += _cut_bodies(inner, cut, color, None)
    view = View(toward=three(cut.normal), up=three(up))
    specs = [
        PanelSpec(bodies=shown, view=view, title="section"),
        PanelSpec(bodies=shown, view=turned(view, right_deg=34, up_deg=18), title="cut open"),
    ]
    sheet = strip(specs, panel_px=SECTION, foot_px=LEGEND_FOOT)
    entries = [(color + sign, name) for (name, color, _, sign), _solid in zip(names, mould, strict=False)]
    entries += [(PART, "casting")] * (casting is not None)
    entries += [(CHANNEL, "sprue and vents")] * (channels is not None)
    legend(sheet, entries)
    return sheet.png()


def _cut_bodies(solid: Solid, cut: Plane, color: str, hatch: float | None) -> list[Body]:
    """Return what lies behind the cut: the surface, and the cut face by itself."""
    _, behind = solid.split_by_plane(cut.normal, cut.offset_mm)
    if behind.is_empty:
        return []
    mesh = behind.mesh
    slack = 1e-5 * max(mesh.diagonal_mm, 1.0)
    on_cut = (np.abs(cut.distance_mm(mesh.vertices)) < slack)[mesh.faces].all(axis=1)
    found = []
    for kept, angle in ((~on_cut, None), (on_cut, hatch)):
        if kept.any():
            used, index = np.unique(mesh.faces[kept], return_inverse=True)
            faces = index.reshape(-1, 3)
            found.append(Body(vertices=mesh.vertices[used], faces=faces, color=color, hatch_deg=angle))
    return found


def picture_undercut(
    mesh: ScanMesh | Solid,
    depth_mm: ArrayLike,
    pull_direction: ArrayLike,
    *,
    up: ArrayLike | None = None,
) -> bytes:
    """Draw the undercuts of a part as a map, seen from both ways of the pull and from the side.

    Parameters
    ----------
    mesh : ScanMesh or Solid
        The part.
    depth_mm : (m,) array
        Undercut depth per face in mm; 0 where the face comes free.
    pull_direction : (3,) array
        Direction in which the mould opens.
    up : (3,) array, optional
        The direction that is up in the views along the pull.

    Returns
    -------
    bytes
        A PNG file.
    """
    part = surface(mesh)
    pull = _unit(pull_direction)
    depth = np.asarray(depth_mm, dtype=np.float64)
    span = (0.0, rounded_range(depth[depth > 0], share=1.0))
    colored = mapped_body(part, depth, DEPTH, span)
    side = side_view(pull, part.vertices, up=up)
    specs = [
        PanelSpec(bodies=[colored], view=view, title=title, hollows=0.2)
        for view, title in (
            (face_view(side, pull), "seen along the pull"),
            (face_view(side, -pull), "seen against the pull"),
            (turned(side, right_deg=30, up_deg=15), "from the side, pull upward"),
        )
    ]
    sheet = strip(specs, panel_px=UNDERCUT, foot_px=BAR_FOOT)
    color_bar(sheet, DEPTH, depth, span=span, label="undercut depth", mesh=part)
    return sheet.png()


def picture_draft(
    mesh: ScanMesh | Solid,
    draft_deg: ArrayLike,
    pull_direction: ArrayLike,
    *,
    up: ArrayLike | None = None,
) -> bytes:
    """Draw the draft of a part as a map, seen from both sides: along the pull its hooks are hidden.

    Parameters
    ----------
    mesh : ScanMesh or Solid
        The part.
    draft_deg : (m,) array
        Angle per face between the face and the pull of the half that forms it; negative where the face
        turns away from that half.
    pull_direction : (3,) array
        Direction in which the mould opens.
    up : (3,) array, optional
        The direction that is to the right in the first view.

    Returns
    -------
    bytes
        A PNG file. Darker has less draft; drafts beyond ±15° have the colour of the end.
    """
    part = surface(mesh)
    pull = _unit(pull_direction)
    draft = np.asarray(draft_deg, dtype=np.float64)
    span = (-DRAFT_DEG, DRAFT_DEG)
    colored = mapped_body(part, draft, DRAFT_MAP, span)
    side = side_view(pull, part.vertices, up=up)
    specs = [
        PanelSpec(bodies=[colored], view=turned(side, right_deg=right, up_deg=15), title=title)
        for right, title in ((30, "from the side, pull upward"), (210, "from the other side"))
    ]
    sheet = strip(specs, panel_px=UNDERCUT, foot_px=BAR_FOOT)
    color_bar(sheet, DRAFT_MAP, draft, span=span, label="draft, hooked below 0", mesh=part, unit="°")
    return sheet.png()
