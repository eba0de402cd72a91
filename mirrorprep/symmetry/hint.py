"""A plane the user points at: what counts as meant by it, in the units of the cloud."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mirrorprep.symmetry.cloud import Cloud
from mirrorprep.symmetry.landmarks import LandmarkPlane

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

LEAST_DEG = 10.0
LEAST_OFFSET = 0.05
DEVIATIONS = 3.0


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Hint:
    """The landmark plane and how far from it a plane of the surface may lie.

    Attributes
    ----------
    normal, offset : (3,) float64, float
        The landmark plane in the cloud's units.
    within_deg, within : float
        Largest angle, and largest distance at the middle of the landmarks in the cloud's units.
    middle : (3,) float64
        Middle of the landmarks.
    """

    normal: FloatArray
    offset: float
    within_deg: float
    within: float
    middle: FloatArray

    @classmethod
    def of(cls, marked: LandmarkPlane, cloud: Cloud) -> "Hint":
        """Return the landmark plane as a hint for the search in a cloud."""
        plane = marked.plane
        loose_deg = DEVIATIONS * marked.sd_deg if np.isfinite(marked.sd_deg) else 0.0
        loose = DEVIATIONS * marked.sd_mm / cloud.scale_mm if np.isfinite(marked.sd_mm) else 0.0
        return cls(
            normal=plane.normal,
            offset=(plane.offset_mm - float(plane.normal @ cloud.center_mm)) / cloud.scale_mm,
            within_deg=max(LEAST_DEG, loose_deg),
            within=max(LEAST_OFFSET, loose),
            middle=(marked.middle_mm - cloud.center_mm) / cloud.scale_mm,
        )

    def fits(self, normals: FloatArray, offsets: FloatArray) -> BoolArray:
        """Return which of k planes may be meant."""
        dot = normals @ self.normal
        shift = (normals @ self.middle - offsets) - np.sign(dot) * (self.normal @ self.middle - self.offset)
        near = np.abs(dot) >= np.cos(np.radians(self.within_deg))
        return np.asarray(near & (np.abs(shift) <= self.within))
