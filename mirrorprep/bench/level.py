"""The rising level in the mould: how much liquid stands below each height, and where air stays."""

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.air_pockets import AirAnalysis, trapped_air
from mirrorprep.solid.mesh import ScanMesh

FloatArray = NDArray[np.float64]

HEIGHTS: Final = 201


def level_data(casting: ScanMesh, mould: dict[str, Any]) -> dict[str, object]:
    """Return the filling of a mould as plain data for a slider.

    Parameters
    ----------
    casting : ScanMesh
        The cavity joined with its channels, closed.
    mould : dict
        Figures of the mould: ``pour_up`` and ``runners``.

    Returns
    -------
    dict
        ``up``; ``heights_mm`` along it, from the origin of the coordinates; ``volumes_mm3`` of the liquid
        at each; ``pockets`` with summit, saddle, volume, place and whether a vent drains them; and
        ``trapped_mm3``.
    """
    runners = sorted(mould["runners"], key=lambda runner: runner["kind"] != "sprue")
    openings = [(np.array(runner["outlet_mm"]), float(runner["outlet_radius_mm"])) for runner in runners]
    air = trapped_air(casting.vertices, casting.faces, up=mould["pour_up"], openings=openings)
    heights = np.linspace(air.columns.bottom_mm.min(), air.columns.top_mm.max(), HEIGHTS)
    return {
        "up": [float(x) for x in air.columns.frame[2]],
        "heights_mm": heights.tolist(),
        "volumes_mm3": liquid_mm3(air, heights).tolist(),
        "trapped_mm3": air.trapped_mm3,
        "volume_mm3": air.volume_mm3,
        "pockets": [
            {
                "top_mm": pocket.summit_height_mm,
                "saddle_mm": pocket.saddle_height_mm,
                "volume_mm3": pocket.volume_mm3,
                "places": [list(pocket.summit_mm)],
                "vented": pocket.vented,
            }
            for pocket in air.pockets
        ],
    }


def liquid_mm3(air: AirAnalysis, heights_mm: FloatArray) -> FloatArray:
    """Return the liquid below each height, shape as `heights_mm`.

    A piece of a column fills from its bottom to where its air is cut off; summed over pieces that is a
    piecewise linear function of the height, so that two sorted lists tell it for all heights at once.
    """
    area = air.columns.spacing_mm**2
    return (_below(air.columns.bottom_mm, heights_mm) - _below(air.filled_to_mm, heights_mm)) * area


def _below(ends: FloatArray, heights: FloatArray) -> FloatArray:
    """Return the sum of ``max(height − end, 0)`` over all ends, for each height."""
    ordered = np.sort(ends)
    total = np.concatenate([[0.0], np.cumsum(ordered)])
    count = np.searchsorted(ordered, heights)
    return np.asarray(count * heights - total[count])
