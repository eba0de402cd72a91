"""A mould as the record that later stages, a resumed run and the traveller work from."""

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.job.records import StageRecord
from mirrorprep.mould.draft import DraftMap, draft_map
from mirrorprep.mould.pieces import MOST_PIECES, Piece
from mirrorprep.mould.pull_direction import Pull
from mirrorprep.mould.result import Half, Mould

HALVES: Final = ("half_a", "half_b")
PIECES: Final = {half: tuple(f"{half}_{n}" for n in range(1, MOST_PIECES + 1)) for half in HALVES}
"""Names of the pieces that a half may come in when it is too large for the bed."""


GAP: Final = np.full((1, 3), np.nan)


def mould_record(mould: Mould) -> StageRecord:
    """Return the figures, findings and solids of a mould."""
    figures: dict[str, Any] = mould.as_dict()
    bodies: list[Half | Piece] = [*mould.halves, *(piece for half in mould.halves for piece in half.pieces)]
    figures["print_poses"] = {part.name: part.print_pose.tolist() for part in bodies}
    figures["runners"] = [
        {
            "kind": runner.kind,
            "gate_mm": _in_part(mould, runner.gate_mm),
            "outlet_mm": _in_part(mould, runner.outlet_mm),
            "gate_radius_mm": runner.start_radius_mm,
            "stem_radius_mm": runner.stop_radius_mm,
            "outlet_radius_mm": runner.outlet_radius_mm,
            "cup_radius_mm": runner.cup_radius_mm,
            "cup_depth_mm": runner.cup_depth_mm,
        }
        for runner in mould.runners
    ]
    search = mould.parting.search
    draft = draft_map(mould.cavity, mould.parting)
    figures["draft"] = draft.as_dict()
    figures["pull_alternatives"] = [] if search is None else [_pull(pull) for pull in search.alternatives]
    shapes = {part.name: part.solid for part in bodies}
    shapes |= {"cavity": mould.cavity, "channels": mould.channels, "casting": mould.casting}
    return StageRecord(
        name="mould",
        figures=figures,
        findings=mould.findings,
        shapes=shapes,
        arrays=_maps(mould, draft),
    )


def pieces_of(mould: StageRecord, half: str) -> tuple[str, ...]:
    """Return the names of the pieces that a half was divided into; empty when it fits the bed."""
    return tuple(name for name in PIECES[half] if name in mould.shapes)


def _maps(mould: Mould, draft: DraftMap) -> dict[str, NDArray[np.float64]]:
    """Return the maps over the cavity's faces, the parting line, and the landscape of pull directions.

    The loops of the parting line follow one another, each ended by a row of NaN; the landscape is there when
    the direction was searched.
    """
    maps = {
        "undercut_mm": mould.undercut.depth_mm,
        "draft_deg": draft.draft_deg,
        "in_half_a": draft.in_half_a.astype(np.float64),
        "parting_line_mm": np.vstack([np.vstack([loop, GAP]) for loop in mould.parting.outline]),
    }
    search = mould.parting.search
    if search is None:
        return maps
    trapped = search.plane_trapped_mm3 if mould.parting.kind == "plane" else search.bound_mm3
    return {
        **maps,
        "pull_directions": search.directions,
        "pull_trapped_share": trapped / search.volume_mm3,
    }


def _pull(pull: Pull) -> dict[str, Any]:
    return {
        "direction": list(pull.direction),
        "bound_mm3": pull.bound_mm3,
        "plane_trapped_mm3": pull.plane_trapped_mm3,
    }


def _in_part(mould: Mould, point_mm: tuple[float, float, float]) -> list[float]:
    """Return a point of the mould's coordinates in those of the part."""
    return [float(x) for x in np.asarray(mould.frame.points_to_part(np.array([point_mm])))[0]]
