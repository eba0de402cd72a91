"""What a pour is planned from."""

import pytest

from mirrorprep.errors import UsageError
from mirrorprep.pour.materials import find_material
from mirrorprep.pour.request import PourRequest, Vent
from mirrorprep.solid.primitives import box

SIZE = [10, 10, 10]


def test_a_part_alone_is_enough():
    block = box(SIZE)
    request = PourRequest(cavity=block)
    assert not request.has_mould
    assert request.resolved_material.name == "addition-cure silicone"
    assert request.liquid_mesh is block.mesh


def test_channels_join_the_mesh():
    block, channels = box(SIZE), box([2, 2, 10], center_mm=[0, 0, 10])
    request = PourRequest(cavity=block, channels=channels, material=find_material("epoxy"))
    assert request.has_mould
    assert len(request.liquid_mesh.faces) == len(block.mesh.faces) + len(channels.mesh.faces)


@pytest.mark.parametrize(
    "wrong",
    [
        {"sprue_top_mm": (0.0, 0.0, 20.0)},
        {"tolerance_mm": 0.0},
        {"clamp_factor": -1.0},
        {"wall_mm": float("nan")},
    ],
)
def test_wrong_requests_are_refused(wrong):
    with pytest.raises(UsageError):
        PourRequest(**{"cavity": box(SIZE), **wrong})


def test_an_empty_cavity_is_refused():
    with pytest.raises(UsageError, match="empty"):
        PourRequest(cavity=box(SIZE) - box([20, 20, 20]))


def test_wrong_vents_are_refused():
    with pytest.raises(UsageError, match="vent"):
        Vent(top_mm=(0, 0, 0), diameter_mm=0.0, length_mm=10.0)
