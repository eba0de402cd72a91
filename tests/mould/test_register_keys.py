import numpy as np
import pytest

from mirrorprep.mould.build import build_mould
from mirrorprep.mould.register_keys import LARGE_KEY, key_places, spread_places
from mirrorprep.mould.settings import MouldSettings
from mirrorprep.solid.primitives import sphere
from mirrorprep.solid.section import disc, rectangle

PLATE = rectangle([0, 0], [100, 60]) - rectangle([25, 20], [75, 40])


def test_places_are_far_apart_and_inside():
    places = np.array(spread_places(PLATE.offset(-5.0), 4, apart_mm=10.0))
    assert len(places) == 4
    assert PLATE.contains(places).all()
    # The four corners of the shrunk plate are the best places there are: 90 and 50 mm apart.
    gaps = np.linalg.norm(places[:, None] - places[None], axis=2)[np.triu_indices(4, 1)]
    assert gaps.min() > 0.9 * 50.0


def test_no_room_means_fewer_places():
    assert spread_places(disc((0, 0), 5.0), 4, apart_mm=20.0).__len__() == 1
    assert spread_places(disc((0, 0), 5.0).offset(-6.0), 4, apart_mm=1.0) == []


def test_taken_places_are_kept_clear():
    taken = [np.array([5.0, 5.0]), np.array([95.0, 55.0])]
    places = np.array(spread_places(PLATE.offset(-5.0), 3, taken=taken, apart_mm=15.0))
    assert len(places) == 3
    assert np.linalg.norm(places[:, None] - np.array(taken)[None], axis=2).min() >= 15.0


def test_walls_around_keys():
    settings = MouldSettings(key_diameter_mm=6.0)
    centers, radii = key_places(PLATE, settings)
    assert radii == pytest.approx([3.0 * LARGE_KEY, 3.0, 3.0, 3.0])
    for center, radius in zip(centers, radii, strict=True):
        around = disc(center, radius + settings.key_gap_mm + 1.0)
        assert (around - PLATE).area_mm2 < 1e-9


def test_never_a_single_key():
    assert key_places(disc((0, 0), 8.0), MouldSettings()) == ([], [])
    assert key_places(PLATE, MouldSettings(key_count=0)) == ([], [])


@pytest.fixture(scope="module")
def mould():
    return build_mould(
        sphere(18.0), settings=MouldSettings(body="block", pull_direction=(0, 0, 1), bolts="none")
    )


def test_gap_is_that_of_the_print_process(mould):
    # FFF 0.35–0.4 sliding, SLA 0.15–0.3 (trade pages).
    assert MouldSettings().key_gap_mm == 0.35
    assert MouldSettings(process="sla").key_gap_mm == 0.2
    assert MouldSettings(key_clearance_mm=0.5).key_gap_mm == 0.5
    for key in mould.keys:
        ring = key.female - key.male
        assert ring.volume_mm3 > 0.0
        assert key.female.bounds_mm[1, 0] - key.male.bounds_mm[1, 0] == pytest.approx(0.35, abs=1e-9)


def test_halves_close_one_way_only(mould):
    # Turned by any angle about the pull, and moved anywhere, a key would have to enter the other half's flat.
    upper, lower = (half.solid for half in mould.halves)
    assert (upper & lower).volume_mm3 < 1e-6
    pull, middle = mould.pull_direction, mould.cavity.mass_properties.centroid_mm
    key = min(mould.keys, key=lambda key: key.radius_mm).male.volume_mm3
    for degrees in (90.0, 180.0, 270.0):
        turned = upper.transformed(_turn(pull, degrees, middle))
        assert (turned & lower).volume_mm3 > 0.3 * key


def _turn(axis, degrees, center):
    from scipy.spatial.transform import Rotation

    matrix = np.eye(4)
    matrix[:3, :3] = Rotation.from_rotvec(np.radians(degrees) * axis).as_matrix()
    matrix[:3, 3] = center - matrix[:3, :3] @ center
    return matrix
