"""True values of a solid."""

import numpy as np
import pytest

from demo_shapes.truth import true_values
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.primitives import box


def test_values_of_a_box():
    found = true_values(
        "box",
        box([1, 2, 3]),
        landmarks_mm={"corner": np.array([0.5, 1.0, 1.5])},
        plane=Plane(normal=[0, 0, 2.0], offset_mm=0.25),
    )
    assert (found.volume_mm3, found.area_mm2) == pytest.approx((6.0, 22.0))
    assert found.as_dict() == {
        "name": "box",
        "triangles": 12,
        "volume_mm3": pytest.approx(6.0),
        "area_mm2": pytest.approx(22.0),
        "size_mm": (1.0, 2.0, 3.0),
        "plane_normal": (0.0, 0.0, 1.0),
        "plane_offset_mm": 0.25,
        "landmarks_mm": {"corner": (0.5, 1.0, 1.5)},
    }
