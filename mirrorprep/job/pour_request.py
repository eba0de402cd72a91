"""From the record of a mould to the request for its pour; the rooms themselves do not know each other."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from mirrorprep.job.records import StageRecord
from mirrorprep.pour.channel_flow import Sprue
from mirrorprep.pour.demoulding import Undercut
from mirrorprep.pour.materials import Material
from mirrorprep.pour.request import PourRequest, Vent


def pour_request(mould: StageRecord, material: Material, *, tolerance_mm: float | None = None) -> PourRequest:
    """Return what the pour of a mould is planned from.

    Parameters
    ----------
    mould : StageRecord
        As `mirrorprep.job.mould_record.mould_record` makes it.
    material : Material
        What is poured.
    tolerance_mm : float, optional
        Deviation that the requester accepts.
    """
    figures = mould.figures
    settings = figures["settings"]
    up = np.array(figures["pour_up"], dtype=np.float64)
    sprue = next(runner for runner in figures["runners"] if runner["kind"] == "sprue")
    return PourRequest(
        cavity=mould.solid("cavity"),
        material=material,
        channels=mould.solid("channels"),
        pull_direction=np.array(figures["pull_direction"]),
        pour_up=up,
        sprue=_sprue(sprue),
        sprue_top_mm=_point(sprue["outlet_mm"]),
        sprue_exit_mm=_point(sprue["gate_mm"]),
        vents=tuple(_vent(runner) for runner in figures["runners"] if runner["kind"] == "vent"),
        bolts=len(figures["bolts_mm"]) or None,
        wall_mm=settings["wall_mm"] if settings["body"] == "shell" else None,
        undercut=_undercut(figures),
        shrinkage_allowed=settings["shrinkage"],
        tolerance_mm=tolerance_mm,
        print_process=settings["process"],
    )


def _point(values: Any) -> tuple[float, float, float]:  # noqa: ANN401 - plain data of a record
    x, y, z = values
    return float(x), float(y), float(z)


def _length(runner: dict[str, Any]) -> float:
    gate: NDArray[np.float64] = np.array(runner["gate_mm"])
    return float(np.linalg.norm(np.array(runner["outlet_mm"]) - gate))


def _sprue(runner: dict[str, Any]) -> Sprue:
    length = _length(runner)
    stem = max(length - runner["cup_depth_mm"], 1.0)
    return Sprue(
        exit_diameter_mm=2.0 * runner["gate_radius_mm"],
        top_diameter_mm=2.0 * runner["stem_radius_mm"],
        length_mm=stem,
        head_mm=length,
    )


def _vent(runner: dict[str, Any]) -> Vent:
    return Vent(
        top_mm=_point(runner["outlet_mm"]),
        diameter_mm=2.0 * runner["gate_radius_mm"],
        length_mm=max(_length(runner), 0.1),
    )


def _undercut(figures: dict[str, Any]) -> Undercut | None:
    if figures["max_undercut_mm"] is None or figures["trapped_mm3"] is None:
        return None
    return Undercut(
        depth_mm=figures["max_undercut_mm"],
        strain=figures["undercut"]["strain"],
        trapped_mm3=figures["trapped_mm3"],
    )
