"""Closed surfaces that ordinary packages carry: volumes and areas on which four libraries agree to 12 digits.

Measured once with trimesh, VTK, libigl and manifold3d on the packages' own files; the files are not copied.
"""

from pathlib import Path

import numpy as np
import pytest

from mirrorprep.measurement.measure import measure
from mirrorprep.solid.certify import certify, examine
from mirrorprep.solid.mesh import ScanMesh


def right_side_out(vertices, faces) -> ScanMesh:
    mesh = ScanMesh(vertices=vertices, faces=faces)
    inside_out = examine(mesh).signed_volume_mm3 < 0
    return mesh.with_geometry(mesh.vertices, mesh.faces[:, ::-1]) if inside_out else mesh


def test_head_surface_of_mne():
    """fsaverage-head.fif × 1000: 5 142 589.793558 mm³, 153 725.043374 mm², 169.07 × 220.81 × 263.37 mm."""
    mne = pytest.importorskip("mne")
    file = Path(mne.__file__).parent / "data" / "fsaverage" / "fsaverage-head.fif"
    (head,) = mne.read_bem_surfaces(file, verbose="error")
    result = measure(right_side_out(1000.0 * head["rr"], head["tris"]))
    assert result.volume_mm3 == pytest.approx(5_142_589.793558, rel=1e-10)
    assert result.area_mm2 == pytest.approx(153_725.043374, rel=1e-10)
    assert result.size_mm == pytest.approx([169.0676, 220.8089, 263.3706], abs=1e-4)


@pytest.mark.parametrize(
    ("name", "volume", "area"),
    [
        ("pial_left", 500_035.590743, 76_345.444375),
        ("pial_right", 499_286.900689, 76_671.769903),
        ("white_left", 336_494.807652, 66_661.798838),
        ("infl_left", 1_034_161.415849, 62_760.045777),
        ("sphere_left", 4_186_512.796428, 125_626.047264),
    ],
)
def test_brain_surfaces_of_nilearn(name, volume, area):
    """fsaverage5; the sphere of radius 100 loses 0.0544 % of 4/3 πR³ to its facets."""
    datasets = pytest.importorskip("nilearn.datasets")
    surface = pytest.importorskip("nilearn.surface")
    mesh = surface.load_surf_mesh(datasets.fetch_surf_fsaverage("fsaverage5")[name])
    solid = certify(right_side_out(np.asarray(mesh.coordinates, dtype=float), mesh.faces))
    assert solid.volume_mm3 == pytest.approx(volume, rel=1e-6)
    assert solid.mass_properties.area_mm2 == pytest.approx(area, rel=1e-6)
    if name == "sphere_left":
        assert solid.volume_mm3 / (4 / 3 * np.pi * 1e6) - 1 == pytest.approx(-0.000544, abs=1e-6)
