"""Pictures of scan, mirror plane and mirrored part, as PNG bytes.

Those of the mould stand in `mirrorprep.handover.mould_pictures`. All raise `OutputError` on a machine that
cannot draw (`mirrorprep.handover.display.drawing_finding` asks beforehand), and the same input gives the
same bytes.
"""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.handover.bodies import (
    body,
    colored_body,
    cut_lines,
    mapped_body,
    plane_rim,
    plane_sheet,
    surface,
    thinned,
    turned,
)
from mirrorprep.handover.keys import BAR_FOOT, LEGEND_FOOT, color_bar, disc, draw_path, legend, mark
from mirrorprep.handover.palette import (
    CAUTION,
    DONOR,
    FAINT,
    INK,
    MIRRORED,
    NOTE,
    PLANE,
    SCAN,
    SIGNED,
    STOP,
    rounded_range,
)
from mirrorprep.handover.panel import View
from mirrorprep.handover.sheet import GAP, SMALL, PanelSpec, PlacedPanel, Sheet, strip
from mirrorprep.handover.standing import standing_view
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]

PANEL: Final = (760, 820)
SEVERITY_COLORS: Final = {Severity.NOTE: NOTE, Severity.CAUTION: CAUTION, Severity.STOP: STOP}
_MOST_MARKED: Final = 8
_LINE_HEIGHT: Final = 36


def picture_scan(
    mesh: ScanMesh | Solid, findings: Sequence[Finding] = (), *, front: View | None = None
) -> bytes:
    """Draw a scan from two sides with the places of its findings.

    Parameters
    ----------
    mesh : ScanMesh or Solid
        Drawn in its own colours when it has any.
    findings : sequence of Finding
        Those with places are marked, gravest first, at most eight.
    front : View, optional
        The eye in front of the object, guessed when left out; the panels look from 40° to its sides.

    Returns
    -------
    bytes
        A PNG file.
    """
    shown, _ = thinned(surface(mesh))
    scan, view = colored_body(shown, SCAN), front or standing_view(shown)
    local = _gravest_first([finding for finding in findings if finding.where])[:_MOST_MARKED]
    specs = [
        PanelSpec(bodies=[scan], view=turned(view, right_deg=a, up_deg=12), title=t)
        for a, t in ((-40, "front, turned to one side"), (40, "front, turned to the other side"))
    ]
    foot = _LINE_HEIGHT * len(local) + 36 if local else 0
    sheet = strip(specs, panel_px=PANEL, foot_px=foot)
    for number, finding in enumerate(local, start=1):
        color = SEVERITY_COLORS[finding.severity]
        for panel in sheet.panels:
            mark(sheet, panel, finding.where, words=str(number), color=color)
        y = sheet.height - foot + _LINE_HEIGHT * (number - 0.5) + 15
        disc(sheet, GAP + 16, y, words=str(number), color=color)
        sheet.text(GAP + 44, y, _line(finding), size=SMALL)
    return sheet.png()


def _gravest_first(findings: Sequence[Finding]) -> list[Finding]:
    order = list(Severity)
    return sorted(findings, key=lambda finding: -order.index(finding.severity))


def _line(finding: Finding, *, most: int = 118) -> str:
    words = f"{finding.severity}: {finding.message}"
    return words if len(words) <= most else f"{words[: most - 1].rsplit(' ', 1)[0]} …"


def picture_plane(
    mesh: ScanMesh | Solid,
    plane: Plane,
    alternatives: Sequence[Plane] = (),
    asymmetry_mm: ArrayLike | None = None,
    *,
    names: Sequence[str] = "ABCDEFGH",
    front: View | None = None,
) -> bytes:
    """Draw a scan with its mirror plane, and its asymmetry as a map.

    Parameters
    ----------
    mesh : ScanMesh or Solid
        The scan.
    plane : Plane
        The mirror plane.
    alternatives : sequence of Plane
        Other planes that were found, drawn as thin outlines with their names.
    asymmetry_mm : (n,) array, optional
        For each vertex the signed distance to the mirrored surface; NaN where there is none.
    names : sequence of str
        What the other planes are called.
    front : View, optional
        The eye in front; by default along the plane from the side with more relief.

    Returns
    -------
    bytes
        A PNG file.
    """
    shown, kept = thinned(surface(mesh))
    view = front or standing_view(shown, plane)
    scan = body(shown, SCAN)
    rim = plane_rim(plane, shown.vertices, up=view.up)
    specs = [
        PanelSpec(
            bodies=[scan, plane_sheet(rim)], view=turned(view, right_deg=38, up_deg=14), title="mirror plane"
        ),
        _asymmetry_panel(shown, kept, asymmetry_mm, view),
    ]
    foot = LEGEND_FOOT if asymmetry_mm is None else BAR_FOOT
    sheet = strip(specs, panel_px=PANEL, foot_px=foot)
    for panel in sheet.panels:
        _draw_rim(sheet, panel, rim)
        _draw_cut(sheet, panel, cut_lines(shown, plane))
        for name, other in zip(names, alternatives, strict=False):
            _draw_alternative(sheet, panel, plane_rim(other, shown.vertices, up=view.up), name)
    if asymmetry_mm is None:
        told = [(PLANE, "mirror plane")] + [("-" + FAINT, "other planes found")] * bool(alternatives)
        legend(sheet, told)
    else:
        span = rounded_range(asymmetry_mm)
        color_bar(sheet, SIGNED, asymmetry_mm, span=(-span, span), label="asymmetry", mesh=mesh)
    return sheet.png()


def _asymmetry_panel(
    shown: ScanMesh, kept: NDArray[np.int64], asymmetry_mm: ArrayLike | None, view: View
) -> PanelSpec:
    if asymmetry_mm is None:
        return PanelSpec(bodies=[body(shown, SCAN)], view=view, title="along the plane")
    values = np.asarray(asymmetry_mm, dtype=np.float64)
    span = rounded_range(values)
    colored = mapped_body(shown, values[kept], SIGNED, (-span, span))
    return PanelSpec(bodies=[colored], view=view, title="asymmetry, along the plane", hollows=0.2)


def _draw_rim(sheet: Sheet, panel: PlacedPanel, rim: FloatArray) -> None:
    draw_path(sheet, panel, rim, color=PLANE, width=2.4)


def _draw_cut(sheet: Sheet, panel: PlacedPanel, segments: FloatArray) -> None:
    """Draw the line in which the plane meets the surface, where it is seen."""
    if len(segments) == 0:
        return
    seen = panel.visible(segments.mean(axis=1))
    placed = panel.place(segments[seen]).reshape(-1, 2, 2)
    gaps = np.full((len(placed), 1, 2), np.nan)
    path = np.concatenate([placed, gaps], axis=1).reshape(-1, 2)
    sheet.line(path[:, 0].tolist(), path[:, 1].tolist(), color=INK, width=2.4)


def _draw_alternative(sheet: Sheet, panel: PlacedPanel, rim: FloatArray, name: str) -> None:
    draw_path(sheet, panel, rim, color=FAINT, width=1.6, linestyle=(0, (6, 4)))
    placed = panel.place(rim)
    top = placed[int(np.argmin(placed[:, 1]))]
    sheet.text(float(top[0]) + 8, float(top[1]) - 14, name, size=SMALL, color=FAINT)


def picture_mirrored(
    donor: ScanMesh | Solid,
    mirrored: ScanMesh | Solid,
    plane: Plane,
    *,
    context: ScanMesh | Solid | None = None,
    front: View | None = None,
) -> bytes:
    """Draw the donor side, its mirrored twin and the plane between them.

    Parameters
    ----------
    donor, mirrored : ScanMesh or Solid
        The healthy part and its mirror image.
    plane : Plane
        The mirror plane.
    context : ScanMesh or Solid, optional
        The scan they belong to, drawn pale.
    front : View, optional
        The eye in front.

    Returns
    -------
    bytes
        A PNG file.
    """
    source, twin = thinned(surface(donor))[0], thinned(surface(mirrored))[0]
    scan = None if context is None else thinned(surface(context))[0]
    around = np.concatenate([source.vertices, twin.vertices, *([] if scan is None else [scan.vertices])])
    view = front or standing_view(scan or source, plane)
    rim = plane_rim(plane, around, up=view.up)
    backdrop = [plane_sheet(rim, opacity=0.2), *([] if scan is None else [body(scan, SCAN)])]
    specs = []
    for angle, title in ((-38, "front, turned to one side"), (38, "front, turned to the other side")):
        look = turned(view, right_deg=angle, up_deg=14)
        # drawn a little nearer to the eye, which moves nothing in a parallel projection, so that the
        # donor side does not fight with the same surface of the scan
        nearer = look.axes()[2] * 0.004 * float(np.ptp(around, axis=0).max())
        pair = [body(_moved(source, nearer), DONOR), body(_moved(twin, nearer), MIRRORED)]
        specs.append(PanelSpec(bodies=[*pair, *backdrop], view=look, title=title))
    sheet = strip(specs, panel_px=PANEL, foot_px=LEGEND_FOOT)
    for panel in sheet.panels:
        _draw_rim(sheet, panel, rim)
    legend(sheet, [(DONOR, "donor side"), (MIRRORED, "mirrored part"), (PLANE, "mirror plane")])
    return sheet.png()


def _moved(mesh: ScanMesh, shift: FloatArray) -> ScanMesh:
    return mesh.with_geometry(mesh.vertices + shift)
