"""The landmark plane in the search: which planes it means, and where it decides what the surface does not."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mirrorprep.symmetry.cloud import Cloud
from mirrorprep.symmetry.landmarks import LandmarkPlane
from mirrorprep.symmetry.newton import Chart, tangents

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

    def step_from(self, chart: Chart) -> FloatArray:
        """Return the changes (k, 3) of a chart's planes that lead to the landmark plane."""
        u, v = tangents(chart.normals)
        along = chart.normals @ self.normal
        normal = self.normal / along[:, None]
        level = chart.offsets - np.einsum("ki,ki->k", chart.normals, chart.center)
        shift = self.offset / along - np.einsum("ki,ki->k", normal, chart.center) - level
        return np.stack([np.einsum("ki,ki->k", normal, u), np.einsum("ki,ki->k", normal, v), shift], axis=1)

    def pinned(self, chart: Chart, slip: FloatArray, freedoms: FloatArray, *, below: float) -> Chart:
        """Return the chart with its planes taken to the landmark plane along the freedoms that slip.

        Parameters
        ----------
        chart : Chart
            Planes the hint means.
        slip, freedoms : (k, 3) float64, (k, 3, 3) float64
            Firmness of the freedoms, and the freedoms in columns.
        below : float
            Slip below which the landmarks decide.
        """
        wanted = np.einsum("kij,ki->kj", freedoms, self.step_from(chart)) * (slip < below)
        normals, offsets = chart.moved(np.einsum("kij,kj->ki", freedoms, wanted))
        meant = self.fits(chart.normals, chart.offsets)
        return Chart(
            normals=np.where(meant[:, None], normals, chart.normals),
            offsets=np.where(meant, offsets, chart.offsets),
            center=chart.center,
            information=chart.information,
        )
