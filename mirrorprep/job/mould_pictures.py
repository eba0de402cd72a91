"""The pictures of a mould, drawn from its record alone."""

from collections.abc import Callable
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.air_pockets import trapped_air
from mirrorprep.handover.landscape import picture_landscape
from mirrorprep.handover.level_strip import picture_level_strip
from mirrorprep.handover.mould_pictures import (
    picture_backs,
    picture_cutaway,
    picture_draft,
    picture_exploded,
    picture_undercut,
)
from mirrorprep.handover.parting_pictures import picture_parting
from mirrorprep.handover.traveller import Picture
from mirrorprep.job.records import StageRecord
from mirrorprep.solid.plane import Plane

_LABELS: Final = {"plane": "trapped by the best plane", "contour": "trapped by the best surface"}
_APART: Final = float(np.cos(np.radians(6.0)))


def mould_drawers(mould: StageRecord) -> tuple[Callable[[StageRecord], Picture], ...]:
    """Return the pictures that a mould's record allows: each draws one from the record."""
    searched = (_landscape,) if "pull_directions" in mould.arrays else ()
    return (*searched, _parting, _undercut, _draft, _exploded, _backs, _cutaway, _filling)


def _landscape(mould: StageRecord) -> Picture:
    half = mould.arrays["pull_directions"]
    share = 100.0 * mould.arrays["pull_trapped_share"]
    return Picture(
        name="landscape",
        png=picture_landscape(
            np.vstack([half, -half]),
            np.concatenate([share, share]),
            label=_LABELS[mould.figures["parting"]],
            unit="%",
            marks=ranked_pulls(mould.figures),
        ),
        caption="What each pull direction traps of the part's volume; 1 is taken. Another can be stated as "
        "pull_direction in the job, or with --pull.",
        description="Both half-spheres of directions as discs, darker where more is trapped.",
    )


def ranked_pulls(figures: dict[str, Any]) -> list[tuple[NDArray[np.float64], float]]:
    """Return the pull taken and its rivals, the best first and well apart, with what they trap in per cent.

    They point to the side of +z: a pull and its opposite are the same.
    """
    to_percent = 100.0 / figures["cavity_volume_mm3"]
    measure = {"plane": "plane_trapped_mm3", "contour": "bound_mm3"}[figures["parting"]]
    rivals = sorted(
        (to_percent * pull[measure], number, np.array(pull["direction"]))
        for number, pull in enumerate(figures["pull_alternatives"])
    )
    taken = np.array(figures["pull_direction"])
    kept = [(taken if taken[2] >= 0.0 else -taken, to_percent * figures["trapped_mm3"])]
    for share, _, direction in rivals:
        if all(abs(float(direction @ other)) < _APART for other, _ in kept):
            kept.append((direction if direction[2] >= 0.0 else -direction, share))
    return kept


def _parting(mould: StageRecord) -> Picture:
    rows = mould.arrays["parting_line_mm"]
    ends = np.flatnonzero(np.isnan(rows[:, 0]))
    return Picture(
        name="parting",
        png=picture_parting(
            mould.solid("cavity"),
            mould.arrays["in_half_a"] > 0.5,
            [loop[~np.isnan(loop[:, 0])] for loop in np.split(rows, ends + 1)[:-1]],
            mould.figures["pull_direction"],
            up=mould.figures["pour_up"],
        ),
        caption="The parting line on the part, where the casting may carry flash, and which half forms what.",
        description="The part in the colours of the halves that form it, with the line between them.",
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


def _backs(mould: StageRecord) -> Picture:
    return Picture(
        name="backs",
        png=picture_backs(
            mould.solid("half_a"),
            mould.solid("half_b"),
            mould.figures["pull_direction"],
            up=mould.figures["pour_up"],
        ),
        caption="The closed mould from behind and from below: pockets for the nuts, feet, and the marks.",
        description="Both backs of the mould and its bottom.",
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
