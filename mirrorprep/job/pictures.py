"""The pictures of a job, drawn from what its stages handed on."""

from collections.abc import Callable
from functools import partial
from typing import Any, Final

import numpy as np

from mirrorprep.geometry.air_pockets import trapped_air
from mirrorprep.handover.level_strip import picture_level_strip
from mirrorprep.handover.mould_pictures import picture_cutaway, picture_exploded, picture_undercut
from mirrorprep.handover.pictures import picture_mirrored, picture_plane, picture_scan
from mirrorprep.handover.traveller import Picture
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
    if "mould" in work.records:
        drawers += [_undercut, _exploded, _cutaway, _filling]
    made = []
    for number, drawer in enumerate(drawers):
        progress.step("pictures", number / len(drawers))
        made.append(drawer(work))
    return tuple(made)


def _of_seating(work: Work) -> list[Callable[[Work], Picture]]:
    plane = plane_of(work.records["symmetry"].figures) if "symmetry" in work.records else None
    drawers: list[Callable[[Work], Picture]] = [
        partial(draw_seated, plane=plane),
        partial(draw_fit, plane=plane),
    ]
    caught = work.records["seating"].figures["undercut"]["where_mm"] is not None
    return [*drawers, draw_seat_undercut] if caught else drawers


def _scan(work: Work) -> Picture:
    return Picture(
        name="scan",
        png=picture_scan(work.mesh("intake", "scan"), work.records["condition"].findings),
        caption="The scan with the places of its findings.",
        description="Two views of the scanned surface.",
    )


def _plane(work: Work) -> Picture:
    record = work.records["symmetry"]
    rivals = [plane_of(other) for other in record.figures.get("alternatives", [])[1 : _MOST_RIVALS + 1]]
    return Picture(
        name="plane",
        png=picture_plane(
            work.mesh("intake", "scan"), plane_of(record.figures), rivals, record.arrays["asymmetry_mm"]
        ),
        caption="The mirror plane, and by how much each place differs from its mirrored counterpart.",
        description="The scan cut by its mirror plane, and the scan coloured by its left-right difference.",
    )


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


def _undercut(work: Work) -> Picture:
    mould = work.records["mould"]
    return Picture(
        name="undercut",
        png=picture_undercut(
            mould.solid("cavity"),
            mould.arrays["undercut_mm"],
            mould.figures["pull_direction"],
            up=mould.figures["pour_up"],
        ),
        caption="Where the casting hooks behind the mould, and how deep.",
        description="The part coloured by the depth of its undercuts, from three sides.",
    )


def _exploded(work: Work) -> Picture:
    mould = work.records["mould"]
    return Picture(
        name="exploded",
        png=picture_exploded(
            mould.solid("half_a"),
            mould.solid("half_b"),
            mould.solid("cavity"),
            mould.figures["pull_direction"],
            up=mould.figures["pour_up"],
        ),
        caption="The mould opened along its pull direction, and each half from its cavity side.",
        description="Both halves apart with the part between them.",
    )


def _cutaway(work: Work) -> Picture:
    mould = work.records["mould"]
    pull, up = np.array(mould.figures["pull_direction"]), np.array(mould.figures["pour_up"])
    sprue = next(runner for runner in mould.figures["runners"] if runner["kind"] == "sprue")
    return Picture(
        name="cutaway",
        png=picture_cutaway(
            [mould.solid("half_a"), mould.solid("half_b")],
            mould.solid("cavity"),
            mould.solid("channels"),
            Plane.through(sprue["outlet_mm"], np.cross(pull, up)),
            up=up,
        ),
        caption="The closed mould cut through its sprue.",
        description="A section with cavity, sprue, pouring cup and both halves.",
    )


def _filling(work: Work) -> Picture:
    mould = work.records["mould"]
    casting, runners = mould.mesh("casting"), mould.figures["runners"]
    first = [runner for runner in runners if runner["kind"] == "sprue"]
    openings = [
        (np.array(runner["outlet_mm"]), float(runner["outlet_radius_mm"]))
        for runner in [*first, *(runner for runner in runners if runner["kind"] != "sprue")]
    ]
    air = trapped_air(casting.vertices, casting.faces, up=mould.figures["pour_up"], openings=openings)
    return Picture(
        name="filling",
        png=picture_level_strip(air),
        caption="The level in the mould as it fills; air that stays is hatched.",
        description="Five pictures of the rising level.",
    )
