"""The pictures of a mould, drawn from its record alone."""

from collections.abc import Callable
from typing import Final

import numpy as np

from mirrorprep.geometry.air_pockets import trapped_air
from mirrorprep.handover.landscape import picture_landscape
from mirrorprep.handover.level_strip import picture_level_strip
from mirrorprep.handover.mould_pictures import (
    picture_cutaway,
    picture_draft,
    picture_exploded,
    picture_undercut,
)
from mirrorprep.handover.traveller import Picture
from mirrorprep.job.records import StageRecord
from mirrorprep.solid.plane import Plane

_LABELS: Final = {"plane": "trapped by the best plane", "contour": "trapped by the best surface"}


def mould_drawers(mould: StageRecord) -> tuple[Callable[[StageRecord], Picture], ...]:
    """Return the pictures that a mould's record allows: each draws one from the record."""
    searched = (_landscape,) if "pull_directions" in mould.arrays else ()
    return (*searched, _undercut, _draft, _exploded, _cutaway, _filling)


def _landscape(mould: StageRecord) -> Picture:
    half = mould.arrays["pull_directions"]
    share = 100.0 * mould.arrays["pull_trapped_share"]
    rivals = [np.array(pull["direction"]) for pull in mould.figures["pull_alternatives"]]
    taken = np.array(mould.figures["pull_direction"])
    return Picture(
        name="landscape",
        png=picture_landscape(
            np.vstack([half, -half]),
            np.concatenate([share, share]),
            label=_LABELS[mould.figures["parting"]],
            unit="%",
            chosen=taken if taken[2] >= 0.0 else -taken,
            others=[rival if rival[2] >= 0.0 else -rival for rival in rivals],
        ),
        caption="What each pull direction traps of the part's volume; 1 is taken. Another can be stated.",
        description="Both half-spheres of directions as discs, darker where more is trapped.",
    )


def _undercut(mould: StageRecord) -> Picture:
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


def _draft(mould: StageRecord) -> Picture:
    return Picture(
        name="draft",
        png=picture_draft(
            mould.solid("cavity"),
            mould.arrays["draft_deg"],
            mould.figures["pull_direction"],
            up=mould.figures["pour_up"],
        ),
        caption="The draft of every face against the pull of its half; facets at the parting line may read "
        "negative where nothing is trapped.",
        description="The part coloured by its draft angle, from both sides.",
    )


def _exploded(mould: StageRecord) -> Picture:
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


def _cutaway(mould: StageRecord) -> Picture:
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


def _filling(mould: StageRecord) -> Picture:
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
