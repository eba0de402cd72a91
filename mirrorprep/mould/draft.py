"""Draft: the angle between the part's faces and the pull of the half that forms them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mirrorprep.mould.parting import PartingSurface
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]

LEAST_DRAFT_DEG = 1.0
"""Draft below which walls rub while the mould opens: common practice, no source."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class DraftMap:
    """Draft angle of every face of the part.

    Attributes
    ----------
    draft_deg : (m,) float64
        Angle between a face and the pull of the half on whose side its middle lies: 90 facing the pull, 0
        along it, negative where the face turns away from it.
    in_half_a : (m,) bool
        Faces above the parting surface.
    negative_share, low_share : float
        Shares of the area with a negative draft, and with a draft from 0 to `LEAST_DRAFT_DEG`. Facets along
        the parting line can be negative where nothing is trapped: the trapped volume decides, not the draft.
    least_deg, median_deg : float
        Least draft, and the median by area.
    """

    draft_deg: FloatArray
    in_half_a: NDArray[np.bool_]
    negative_share: float
    low_share: float
    least_deg: float
    median_deg: float

    def as_dict(self) -> dict[str, float]:
        """Return plain data for JSON, without the map."""
        names = ("negative_share", "low_share", "least_deg", "median_deg")
        return {name: float(getattr(self, name)) for name in names}


def draft_map(part: Solid, parting: PartingSurface) -> DraftMap:
    """Return the draft angle of every face for a parting.

    Examples
    --------
    >>> from mirrorprep.mould.parting import find_parting
    >>> from mirrorprep.solid.primitives import frustum
    >>> cone = frustum([0, 0, 0], [0, 0, 10], start_radius_mm=10, stop_radius_mm=5, segments=400)
    >>> level = find_parting(cone, pull_direction=[0, 0, 1], kind="plane", margin_mm=5.0)
    >>> found = draft_map(cone, level)
    >>> float(found.draft_deg[found.in_half_a].min().round(1))
    26.6
    """
    corners = part.mesh.triangles @ parting.frame
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    twice = np.linalg.norm(normal, axis=1)
    middle = corners.mean(axis=1)
    in_half_a = middle[:, 2] >= parting.height_mm(middle[:, :2])
    level = np.hypot(normal[:, 0], normal[:, 1])
    draft = np.degrees(np.arctan2(np.where(in_half_a, normal[:, 2], -normal[:, 2]), level))
    order = np.argsort(draft, kind="stable")
    share = np.cumsum(twice[order]) / twice.sum()
    low = (draft >= 0.0) & (draft < LEAST_DRAFT_DEG)
    return DraftMap(
        draft_deg=draft,
        in_half_a=in_half_a,
        negative_share=float(twice[draft < 0.0].sum() / twice.sum()),
        low_share=float(twice[low].sum() / twice.sum()),
        least_deg=float(draft.min()),
        median_deg=float(draft[order[min(int(np.searchsorted(share, 0.5)), len(order) - 1)]]),
    )
