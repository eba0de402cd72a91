"""Shared shapes for the handover tests; drawing tests skip where the machine cannot draw."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))  # for the helpers beside the tests

from mirrorprep.handover import mould_pictures, parting_pictures, pictures
from mirrorprep.handover.display import working_window
from mirrorprep.solid.primitives import box, frustum, sphere
from mirrorprep.solid.solid import union


@pytest.fixture(scope="session")
def drawing():
    if working_window() is None:
        pytest.skip("this machine cannot draw off-screen")


@pytest.fixture
def small_panels(drawing, monkeypatch):
    """Panels of a third of the size, which shows the same and draws nine times faster."""
    monkeypatch.setattr(pictures, "PANEL", (300, 300))
    monkeypatch.setattr(mould_pictures, "EXPLODED", ((240, 300), (240, 300), (240, 300)))
    monkeypatch.setattr(mould_pictures, "SECTION", (300, 300))
    monkeypatch.setattr(mould_pictures, "BACKS", (240, 260))
    monkeypatch.setattr(parting_pictures, "PARTING", (240, 260))
    monkeypatch.setattr(mould_pictures, "UNDERCUT", (240, 260))


@pytest.fixture(scope="session")
def mould():
    """A ball in a block: half_a, half_b, part and channels, parted at z = 0, sprue along +y."""
    part = sphere(10, segments=48)
    sprue = frustum([0, 9, 0], [0, 20, 0], start_radius_mm=2, stop_radius_mm=4)
    vent = frustum([6, 7, 0], [6, 20, 0], start_radius_mm=0.8, stop_radius_mm=0.8)
    channels = union([sprue, vent]) - part
    block = box([36, 40, 30]) - part - channels
    half_a, half_b = block.split_by_plane([0, 0, 1], 0.0)
    return half_a, half_b, part, channels
