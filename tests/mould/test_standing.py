import numpy as np
import pytest

from mirrorprep.mould.layout import lay_out
from mirrorprep.mould.settings import MouldSettings
from mirrorprep.mould.standing import TIP_DEG, standing, standing_findings, tip_deg
from mirrorprep.progress import SILENT
from mirrorprep.solid.finding import Severity
from mirrorprep.solid.primitives import box, frustum, sphere
from mirrorprep.solid.solid import union

PULL = {"parting": "plane", "pull_direction": (0, 0, 1), "pour_up": (0, 1, 0)}


def tip(body):
    return tip_deg(body.mesh.vertices, body.mass_properties.centroid_mm)


def test_a_box_tips_over_its_nearer_edge():
    # statics: a body tips once its weight acts beyond the edge, at atan(distance of the edge / height)
    assert tip(box([40, 60, 20])) == pytest.approx(np.degrees(np.arctan2(10.0, 30.0)))
    leaning = union([box([20, 10, 20], center_mm=[0, -20, 0]), box([20, 40, 60], center_mm=[0, 5, 20])])
    center = leaning.mass_properties.centroid_mm
    assert tip(leaning) == pytest.approx(np.degrees(np.arctan2(10.0 - center[2], center[1] + 25.0)))
    assert tip(leaning) < 0.0


def test_a_cone_on_its_base_and_on_its_tip():
    cone = frustum([0, 0, 0], [0, 40, 0], start_radius_mm=20, stop_radius_mm=1e-3, segments=400)
    assert tip(cone) == pytest.approx(np.degrees(np.arctan2(20.0, 10.0)), abs=0.01)  # centroid at h/4
    flipped = cone.transformed(np.diag([1.0, -1.0, -1.0, 1.0]))
    assert tip(flipped) < 0.1


@pytest.mark.parametrize("body", ["shell", "block", "cylinder"])
def test_moulds_stand(body):
    layout = lay_out(sphere(15.0), MouldSettings(body=body, **PULL), progress=SILENT)
    found = standing(layout)
    assert found.tip_deg > 2.0 * TIP_DEG
    assert standing_findings(layout) == []
    assert found.base_mm[1] > 10.0
    assert set(found.as_dict()) == {"tip_deg", "base_mm"}


def test_shell_without_feet_tips_and_is_found():
    settings = MouldSettings(feet=False, bolts="none", flange_thickness_mm=3.0, key_diameter_mm=4.0, **PULL)
    (found,) = standing_findings(lay_out(sphere(15.0), settings, progress=SILENT))
    assert (found.code, found.severity, found.limit) == ("mould-tips", Severity.CAUTION, TIP_DEG)
    assert found.measured < TIP_DEG
    assert "feet" in found.remedy
    assert found.where
