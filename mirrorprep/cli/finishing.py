"""Smoothing and decimation on request, after mending from the command line."""

from dataclasses import dataclass, field
from typing import Any

from mirrorprep.condition.decimate import decimate
from mirrorprep.condition.smooth import smooth
from mirrorprep.progress import Progress
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.solid import Solid


@dataclass(frozen=True, slots=True, eq=False)
class Finishing:
    """A shape, and what was done to it after mending."""

    shape: ScanMesh | Solid
    data: dict[str, Any] = field(default_factory=dict)
    lines: tuple[tuple[str, str], ...] = ()


def finished(
    shape: ScanMesh | Solid,
    *,
    smooth_mm: float | None,
    decimate_mm: float | None,
    triangles: int | None,
    progress: Progress,
) -> Finishing:
    """Smooth the shape if a largest movement is given, then decimate it if a tolerance or number is."""
    done = Finishing(shape)
    if smooth_mm is not None:
        result = smooth(shape, most_mm=smooth_mm, progress=progress)
        noise = [
            "unknown" if value is None else f"{value:.2g} mm"
            for value in (result.noise_before_mm, result.noise_after_mm)
        ]
        said = (
            f"moved by {result.max_displacement_mm:.2g} mm at most, {result.rms_displacement_mm:.2g} mm RMS; "
            f"noise {noise[0]} before, {noise[1]} after"
        )
        done = Finishing(
            result.mesh if result.solid is None else result.solid,
            {"smooth": result.as_dict()},
            (("smoothed", said),),
        )
    if decimate_mm is None and triangles is None:
        return done
    fewer = decimate(done.shape, tolerance_mm=decimate_mm, triangles=triangles, progress=progress)
    said = (
        f"{fewer.triangles_before:,} to {fewer.triangles_after:,} triangles; off by "
        f"{fewer.deviation.max_mm:.2g} mm at most, {fewer.deviation.rms_mm:.2g} mm RMS"
    )
    return Finishing(
        fewer.solid, done.data | {"decimate": fewer.as_dict()}, (*done.lines, ("decimated", said))
    )
