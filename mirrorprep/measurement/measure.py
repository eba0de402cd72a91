"""Measure: size, area, volume, centroid, mass and thinnest wall, with honest digits."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from mirrorprep import units
from mirrorprep.errors import NotASolidError, UsageError
from mirrorprep.geometry.mass_properties import area_mm2
from mirrorprep.measurement.least_wall import thin_share, thin_walls
from mirrorprep.measurement.wall_thickness import WallThickness, wall_thickness
from mirrorprep.progress import SILENT, Progress
from mirrorprep.solid.certify import certify
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.solid import Solid


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Measurement:
    """Figures of a scan or part.

    Attributes
    ----------
    solid : bool
        Whether the shape is a certified solid; volume, mass, centroid and wall exist only then.
    volume_mm3, volume_sd_mm3 : float or None
        Volume and its standard deviation, scan accuracy × area; None where unknown.
    area_mm2 : float
        Surface area.
    centroid_mm : (3,) float64 or None
        Centre of the volume.
    mass_g, mass_sd_g : float or None
        Mass from the stated density, None without one.
    min_wall_mm : float or None
        Thinnest wall, None when there is none or no solid.
    thinnest_at_mm : (3,) float64 or None
        Where the thinnest wall is.
    walls : WallThickness or None
        Wall thickness over the whole surface.
    least_wall_mm : float or None
        Least wall that was asked for.
    thin_share : float or None
        Share of the surface with a thinner wall; None without a solid or a least wall.
    size_mm : (3,) float64
        Extent of the bounding box.
    accuracy_mm, density_g_cm3 : float or None
        As stated.
    findings : tuple of Finding
        Why something is missing, and cautions.
    """

    solid: bool
    volume_mm3: float | None
    volume_sd_mm3: float | None
    area_mm2: float
    centroid_mm: NDArray[np.float64] | None
    mass_g: float | None
    mass_sd_g: float | None
    min_wall_mm: float | None
    thinnest_at_mm: NDArray[np.float64] | None
    size_mm: NDArray[np.float64]
    walls: WallThickness | None = None
    least_wall_mm: float | None = None
    thin_share: float | None = None
    accuracy_mm: float | None = None
    density_g_cm3: float | None = None
    findings: tuple[Finding, ...] = field(default=())

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        return {
            "solid": self.solid,
            "volume_mm3": self.volume_mm3,
            "volume_sd_mm3": self.volume_sd_mm3,
            "area_mm2": self.area_mm2,
            "centroid_mm": None if self.centroid_mm is None else self.centroid_mm.tolist(),
            "mass_g": self.mass_g,
            "mass_sd_g": self.mass_sd_g,
            "min_wall_mm": self.min_wall_mm,
            "thinnest_at_mm": None if self.thinnest_at_mm is None else self.thinnest_at_mm.tolist(),
            "wall_spacing_mm": None if self.walls is None else self.walls.spacing_mm,
            "least_wall_mm": self.least_wall_mm,
            "thin_share": self.thin_share,
            "size_mm": self.size_mm.tolist(),
            "accuracy_mm": self.accuracy_mm,
            "density_g_cm3": self.density_g_cm3,
            "findings": [finding.as_dict() for finding in self.findings],
        }


def measure(
    shape: ScanMesh | Solid,
    *,
    accuracy_mm: float | None = None,
    density_g_cm3: float | None = None,
    least_wall_mm: float | None = None,
    progress: Progress = SILENT,
) -> Measurement:
    """Measure a scan or a certified solid.

    Parameters
    ----------
    shape : ScanMesh or Solid
        A scan that is no solid gets its size and area, and the reason why it has no volume.
    accuracy_mm : float, optional
        Accuracy of the scan (standard deviation of a surface point along its normal).
    density_g_cm3 : float, optional
        Density for the mass.
    least_wall_mm : float, optional
        Least wall that the part should have; where it is thinner there is a finding ``wall-thin``.

    Returns
    -------
    Measurement
        With None where a figure cannot be given.

    Raises
    ------
    UsageError
        If accuracy, density or least wall is not positive.

    Notes
    -----
    The volume's standard deviation is accuracy × area: the bound for an error that is the same everywhere,
    such as a wrong exposure or coating. Independent point errors would average out and give less.
    Volume by the divergence theorem (Mirtich 1996); the volume of an open surface does not exist.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> result = measure(box([10, 20, 30]), accuracy_mm=0.1, density_g_cm3=1.1)
    >>> result.volume_mm3, result.volume_sd_mm3, round(result.mass_g, 6)
    (6000.0, 220.0, 6.6)
    """
    stated = (
        ("accuracy", accuracy_mm, "mm"),
        ("density", density_g_cm3, "g/cm³"),
        ("least wall", least_wall_mm, "mm"),
    )
    for name, value, unit in stated:
        if value is not None and not (np.isfinite(value) and value > 0.0):
            raise UsageError(
                f"The {name} {value} {unit} is not a positive number.", remedy=f"State the {name} in {unit}."
            )
    progress.step("measuring", 0.1)
    if isinstance(shape, Solid):
        return _solid_figures(shape, accuracy_mm, density_g_cm3, least_wall_mm)
    try:
        solid = certify(shape)
    except NotASolidError as error:
        return _open_surface(shape, error, accuracy_mm, density_g_cm3)
    return _solid_figures(solid, accuracy_mm, density_g_cm3, least_wall_mm)


def _open_surface(
    mesh: ScanMesh, error: NotASolidError, accuracy: float | None, density: float | None
) -> Measurement:
    reason = Finding(
        code="no-volume",
        severity=Severity.CAUTION,
        message=f"Volume, mass and wall thickness exist only for a solid. {error.message}",
        remedy=error.remedy,
    )
    return Measurement(
        solid=False,
        volume_mm3=None,
        volume_sd_mm3=None,
        area_mm2=area_mm2(mesh.vertices, mesh.faces),
        centroid_mm=None,
        mass_g=None,
        mass_sd_g=None,
        min_wall_mm=None,
        thinnest_at_mm=None,
        size_mm=mesh.size_mm,
        accuracy_mm=accuracy,
        density_g_cm3=density,
        findings=(reason,),
    )


def _solid_figures(
    solid: Solid, accuracy: float | None, density: float | None, least_wall: float | None
) -> Measurement:
    figures = solid.mass_properties
    walls = wall_thickness(solid)
    has_wall = bool(np.isfinite(walls.smallest_mm))
    sd = None if accuracy is None else accuracy * figures.area_mm2
    return Measurement(
        solid=True,
        volume_mm3=figures.volume_mm3,
        volume_sd_mm3=sd,
        area_mm2=figures.area_mm2,
        centroid_mm=figures.centroid_mm,
        mass_g=None if density is None else units.mass_g(figures.volume_mm3, density),
        mass_sd_g=None if density is None or sd is None else units.mass_g(sd, density),
        min_wall_mm=walls.smallest_mm if has_wall else None,
        thinnest_at_mm=walls.thinnest_at_mm if has_wall else None,
        size_mm=solid.mesh.size_mm,
        walls=walls,
        least_wall_mm=least_wall,
        thin_share=None if least_wall is None else thin_share(walls, least_wall),
        accuracy_mm=accuracy,
        density_g_cm3=density,
        findings=(*_notes(accuracy, density), *(() if least_wall is None else thin_walls(walls, least_wall))),
    )


def _notes(accuracy: float | None, density: float | None) -> tuple[Finding, ...]:
    notes = []
    if accuracy is None:
        notes.append(
            Finding(
                code="accuracy-unknown",
                severity=Severity.NOTE,
                message="The scan's accuracy was not stated, so the uncertainty of the volume is unknown.",
                remedy="State the accuracy in millimetres.",
            )
        )
    if density is None:
        notes.append(
            Finding(
                code="density-unknown",
                severity=Severity.NOTE,
                message="No density was stated, so there is no mass.",
                remedy="State the density in g/cm³.",
            )
        )
    return tuple(notes)
