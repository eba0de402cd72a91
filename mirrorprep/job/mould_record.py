"""A mould as the record that later stages, a resumed run and the traveller work from."""

from typing import Any, Final

import numpy as np

from mirrorprep.job.records import StageRecord
from mirrorprep.mould.result import Mould

HALVES: Final = ("half_a", "half_b")


def mould_record(mould: Mould) -> StageRecord:
    """Return the figures, findings and solids of a mould."""
    figures: dict[str, Any] = mould.as_dict()
    figures["print_poses"] = {half.name: half.print_pose.tolist() for half in mould.halves}
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
    shapes = {half.name: half.solid for half in mould.halves}
    shapes |= {"cavity": mould.cavity, "channels": mould.channels, "casting": mould.casting}
    return StageRecord(
        name="mould",
        figures=figures,
        findings=mould.findings,
        shapes=shapes,
        arrays={"undercut_mm": mould.undercut.depth_mm},
    )


def _in_part(mould: Mould, point_mm: tuple[float, float, float]) -> list[float]:
    """Return a point of the mould's coordinates in those of the part."""
    return [float(x) for x in np.asarray(mould.frame.points_to_part(np.array([point_mm])))[0]]
