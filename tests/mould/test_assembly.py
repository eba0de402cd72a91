import numpy as np
import pytest

from mirrorprep.geometry.topology import bodies
from mirrorprep.mould.assembly import Finished, _joined, _without_flakes, assemble, finished
from mirrorprep.mould.frame import MouldFrame
from mirrorprep.mould.parting import find_parting
from mirrorprep.mould.register_keys import RegisterKey
from mirrorprep.solid.certify import certify
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import box, frustum, sphere
from mirrorprep.solid.rounding import welded_faults

KEY = RegisterKey(center_mm=(20.0, 20.0, 0.0), radius_mm=3.0, height_mm=3.0, root_mm=1.0, gap_mm=0.3)
RUNNER = frustum([0, 5, 0], [0, 31, 0], start_radius_mm=2, stop_radius_mm=3)


def assembled(part, *, keys=(), tools=()):
    parting = find_parting(part, pull_direction=[0, 0, 1], kind="plane", margin_mm=20.0)
    frame = MouldFrame(parting=parting, up_uv=np.array([0.0, 1.0]) @ parting.frame[:2, :2])
    outside = box([60, 60, 60])
    made = assemble(outside, frame.to_mould(part), frame, channels=[RUNNER], keys=keys, tools=tools)
    return made, outside, frame


def test_volumes_add_up_with_keys_and_tools():
    bore = frustum([-20, -20, -40], [-20, -20, 40], start_radius_mm=2, stop_radius_mm=2)
    part = sphere(12.0)
    made, outside, _ = assembled(part, keys=[KEY], tools=[bore])
    hollows = sum(hollow.volume_mm3 for hollow in made.hollows)
    total = made.half_a.volume_mm3 + made.half_b.volume_mm3 + made.casting.volume_mm3 + hollows
    assert total == pytest.approx(outside.volume_mm3, rel=1e-13)
    assert made.channels.volume_mm3 + part.volume_mm3 == pytest.approx(made.casting.volume_mm3, rel=1e-12)
    assert made.islands == ()


def test_key_stands_on_half_b_and_fits_half_a():
    made, _, frame = assembled(sphere(12.0), keys=[KEY])
    level = float(frame.height_mm([[20.0, 20.0]])[0])
    above = box([10, 10, 10], center_mm=[20, 20, level + 5.0])
    assert (made.half_b & above).volume_mm3 == pytest.approx((KEY.male & above).volume_mm3, rel=1e-9)
    assert (made.half_a & KEY.male).volume_mm3 < 1e-9


def test_island_is_joined_to_the_other_half():
    dish = sphere(14.0) - sphere(10.0) - box([40, 40, 20], center_mm=[0, 0, 18])
    made, outside, _ = assembled(dish)
    total = made.half_a.volume_mm3 + made.half_b.volume_mm3 + made.casting.volume_mm3
    assert total == pytest.approx(outside.volume_mm3, rel=1e-12)
    assert len(made.half_a.fragments()) == len(made.half_b.fragments()) == 1
    # The bowl's inside below the plane hangs on nothing of the lower half.
    assert [island.fate for island in made.islands] == ["half_a"]
    assert made.islands[0].of_half == "half_b"
    assert made.islands[0].volume_mm3 > 100.0


def test_island_that_hangs_on_an_island_is_joined():
    # The upper's island lies on the lower's, and that one on the upper's main piece.
    upper = box([20, 10, 10], center_mm=[0, 0, 5]) + box([10, 10, 10], center_mm=[25, 0, 5])
    lower = box([40, 10, 10], center_mm=[-40, 0, -5]) + box([25, 10, 10], center_mm=[15, 0, -5])
    (half_a, half_b), islands = _joined(upper, lower)
    assert [(island.of_half, island.fate) for island in islands] == [
        ("half_b", "half_a"),
        ("half_a", "half_a"),
    ]
    assert half_a.volume_mm3 == pytest.approx(2000 + 1000 + 2500)
    assert half_b.volume_mm3 == pytest.approx(4000)


def test_flakes_without_volume_are_dropped_and_pieces_stay():
    body = box([20, 20, 20])
    flake = np.array([[15.0, 0, 0], [15.3, 0, 0], [15, 0.3, 0], [15.1, 0.1, 1e-12]])
    faces = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]])
    both = ScanMesh(
        vertices=np.vstack([body.mesh.vertices, flake]),
        faces=np.vstack([body.mesh.faces, faces + len(body.mesh.vertices)]),
    )
    assert bodies(both.faces, len(both.vertices))[0] == 2
    main, flakes = _without_flakes(certify(both))
    assert len(main.mesh.faces) == len(body.mesh.faces)
    assert all(flake.volume_mm3 < 1e-6 for flake in flakes)
    pieces = body + box([1, 1, 1], center_mm=[15, 0, 0])
    assert _without_flakes(pieces) == (pieces, ())


def test_enclosed_hollow_is_listed_as_loose():
    made, outside, _ = assembled(sphere(14.0) - sphere(8.0))
    loose = [island for island in made.islands if island.fate == "loose"]
    assert sum(island.volume_mm3 for island in loose) == pytest.approx(
        (sphere(8.0) - RUNNER).volume_mm3, rel=1e-9
    )
    total = made.half_a.volume_mm3 + made.half_b.volume_mm3 + made.casting.volume_mm3
    lost = sum(island.volume_mm3 for island in loose)
    assert total + lost == pytest.approx(outside.volume_mm3, rel=1e-12)


def test_finished_half_keeps_the_cavity_and_survives_rounding():
    from scipy.spatial import cKDTree

    part = sphere(12.0, segments=128)
    made, _, frame = assembled(part, keys=[KEY])
    done = finished(made.half_a, frame.to_mould(part), frame.rotation)
    half = done.solid
    assert (done.moved, done.flakes) == (0, ())
    assert welded_faults(half.mesh) == (0, 0)
    assert half.volume_mm3 == pytest.approx(made.half_a.volume_mm3, rel=1e-13)
    own = part.mesh.vertices[part.mesh.vertices[:, 2] > 3.0]
    own = own[np.hypot(own[:, 0], own[:, 2]) > 4.0]
    assert cKDTree(half.mesh.vertices).query(own)[0].max() < 1e-9


def test_flakes_are_islands_in_mould_coordinates():
    turn = np.array([[0.0, 0, 1], [1, 0, 0], [0, 1, 0]])
    flake = box([0.01, 0.01, 0.01], center_mm=turn @ [1.0, 2.0, 3.0])
    (island,) = Finished(solid=box([1, 1, 1]), moved=0, flakes=(flake,)).islands("half_a", turn)
    assert island.where_mm == pytest.approx((1.0, 2.0, 3.0))
    assert (island.of_half, island.fate) == ("half_a", "loose")
    assert island.volume_mm3 == pytest.approx(1e-6)
