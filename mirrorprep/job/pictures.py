"""The pictures of a job, drawn from what its stages handed on."""

from collections.abc import Callable
from functools import partial
from typing import Any, Final

import numpy as np

from mirrorprep.handover.pictures import picture_mirrored, picture_plane, picture_scan
from mirrorprep.handover.traveller import Picture
from mirrorprep.handover.wall_pictures import picture_walls
from mirrorprep.job.mould_pictures import mould_drawers
from mirrorprep.job.records import StageRecord
from mirrorprep.job.seat_sheet import draw_fit, draw_seat_undercut, draw_seated
from mirrorprep.job.stages import Work
from mirrorprep.progress import SILENT, Progress
from mirrorprep.solid.plane import Plane

_MOST_RIVALS: Final = 3


def plane_of(figures: dict[str, Any]) -> Plane:
    """Return the plane that stands in plain data."""
    return Plane(normal=np.array(figures["normal"]), offset_mm=figures["offset_mm"])


def draw_pictures(work: Work, *, progress: Progress = SILENT) -> tuple[Picture, ...]:
    """Draw every picture that the job's stages allow.

    Returns
    -------
    tuple of Picture
        In the order of the work; empty where the machine cannot draw.
    """
    drawers: list[Callable[[Work], Picture]] = [_scan]
    if "symmetry" in work.records:
        drawers += [_plane, _mirrored]
    if "seating" in work.records:
        drawers += _of_seating(work)
    if "wall_mm" in work.records["measurement"].arrays:
        drawers.append(_walls)
    if "mould" in work.records:
        drawers += [partial(_of_mould, drawer) for drawer in mould_drawers(work.records["mould"])]
    made = []
    for number, drawer in enumerate(drawers):
        progress.step("pictures", number / len(drawers))
        made.append(drawer(work))
    return tuple(made)


def _of_mould(drawer: Callable[[StageRecord], Picture], work: Work) -> Picture:
    return drawer(work.records["mould"])


def _of_seating(work: Work) -> list[Callable[[Work], Picture]]:
    plane = plane_of(work.records["symmetry"].figures) if "symmetry" in work.records else None
    drawers: list[Callable[[Work], Picture]] = [
        partial(draw_seated, plane=plane),
        partial(draw_fit, plane=plane),
    ]
    caught = work.records["seating"].figures["undercut"]["where_mm"] is not None
    return [*drawers, draw_seat_undercut] if caught else drawers


def _scan(work: Work) -> Picture:
    findings = work.records["condition"].findings
    return Picture(
        name="scan",
        png=picture_scan(work.mesh("intake", "scan"), findings),
        caption="The scan from two sides"
        + (", with the places of its findings." if any(f.where for f in findings) else "."),
        description="Two views of the scanned surface.",
    )


def _plane(work: Work) -> Picture:
    record = work.records["symmetry"]
    rivals = _rivals(record.figures)
    return Picture(
        name="plane",
        png=picture_plane(
            work.mesh("intake", "scan"),
            plane_of(record.figures),
            list(rivals.values()),
            record.arrays["asymmetry_mm"],
            names=list(rivals),
        ),
        caption="The mirror plane, and by how much each place differs from its mirrored counterpart.",
        description="The scan cut by its mirror plane, and the scan coloured by its left-right difference.",
    )


def _rivals(figures: dict[str, Any]) -> dict[str, Plane]:
    """Return the best planes that were not taken, by the numbers that choose them."""
    planes = enumerate(figures.get("alternatives", []), start=1)
    others = [(str(number), plane_of(other)) for number, other in planes if number != figures.get("choice")]
    return dict(others[:_MOST_RIVALS])


def _mirrored(work: Work) -> Picture:
    return Picture(
        name="mirrored",
        png=picture_mirrored(
            work.donor,
            work.mirrored,
            plane_of(work.records["symmetry"].figures),
            context=work.mesh("intake", "scan"),
        ),
        caption="The healthy part and its mirrored twin.",
        description="The scan from both sides with the donor part and the mirrored part in place.",
    )


def _walls(work: Work) -> Picture:
    record = work.records["measurement"]
    seated = work.records["seating"].figures if "seating" in work.records else None
    return Picture(
        name="walls",
        png=picture_walls(
            work.mirrored,
            record.arrays["wall_mm"],
            toward=None if seated is None else seated["back"]["direction"],
            least_mm=record.figures["least_wall_mm"],
            thinnest_mm=record.figures["thinnest_at_mm"],
            context=work.mesh("intake", "recipient" if work.job.seating.recipient else "scan"),
            plane=plane_of(work.records["symmetry"].figures) if "symmetry" in work.records else None,
        ),
        caption="The part by its wall thickness, thin dark; 1 marks the thinnest wall.",
        description="Two views of the part coloured by the largest ball inside it that touches each place.",
    )
