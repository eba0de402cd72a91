"""The direction to pour in."""

import numpy as np
import pytest

from mirrorprep.errors import NotASolidError, UsageError
from mirrorprep.geometry.air_pockets import trapped_air
from mirrorprep.geometry.cavity_columns import cavity_columns
from mirrorprep.geometry.mass_properties import signed_volume_mm3
from mirrorprep.geometry.pour_direction import (
    best_pour_direction,
    directions_in_plane,
    directions_on_sphere,
    merged_in_cells,
)
from mirrorprep.solid.primitives import box, frustum, sphere


def rod(start, stop):
    return frustum(start, stop, start_radius_mm=4, stop_radius_mm=4)


@pytest.fixture(scope="module")
def tripod():
    """Three legs on a ball: best poured with the legs down."""
    legs = [rod([0, 0, 0], [22 * np.cos(a), 22 * np.sin(a), -18]) for a in np.radians([0.0, 120.0, 240.0])]
    body = sphere(9.0)
    for leg in legs:
        body = body + leg
    return body.mesh


def test_the_tripod_pours_with_its_legs_down(tripod):
    found = best_pour_direction(tripod.vertices, tripod.faces, candidates=directions_on_sphere(128))
    assert found.best.trapped_mm3 <= found.negligible_mm3
    assert found.best.up[2] > 0.3
    assert found.ranked[-1].up[2] < 0.0


def test_the_ranking_agrees_with_the_full_analysis(tripod):
    ups = directions_in_plane((0, 1, 0), 24)
    found = best_pour_direction(tripod.vertices, tripod.faces, candidates=ups)
    full = [trapped_air(tripod.vertices, tripod.faces, up=up).trapped_mm3 for up in ups]
    best = trapped_air(tripod.vertices, tripod.faces, up=found.best.up).trapped_mm3
    assert best <= min(full) + found.negligible_mm3


def test_equal_air_is_decided_by_the_shorter_sprue():
    block = box([10, 30, 50]).mesh
    found = best_pour_direction(block.vertices, block.faces, candidates=np.eye(3))
    assert found.best.up == (1.0, 0.0, 0.0)
    assert found.best.sprue_length_mm == pytest.approx(10.0)
    assert [d.sprue_length_mm for d in found.ranked] == pytest.approx([10, 30, 50])


def test_directions_are_unit_and_evenly_spread():
    ring = directions_in_plane((1, 1, 1), 72)
    assert np.allclose(ring @ np.ones(3), 0.0)
    assert np.allclose(np.einsum("ij,ij->i", ring, np.roll(ring, 1, axis=0)), np.cos(np.radians(5)))
    ball = directions_on_sphere(512)
    assert np.allclose(np.linalg.norm(ball, axis=1), 1.0)
    assert np.allclose(ball.mean(axis=0), 0.0)
    nearest = np.sort(ball @ ball.T, axis=1)[:, -2]
    assert np.degrees(np.arccos(nearest)).max() < 9.0


def test_merging_vertices_keeps_the_mesh_closed(tripod):
    vertices, faces = merged_in_cells(tripod.vertices, tripod.faces, 1.0)
    assert 0 < len(faces) < len(tripod.faces)
    columns = cavity_columns(vertices, faces, up=(0.2, 0.5, 1), spacing_mm=0.5)
    volume = signed_volume_mm3(tripod.vertices, tripod.faces)
    assert columns.volume_mm3 == pytest.approx(volume, rel=0.03)


def test_wrong_input_is_refused(tripod):
    with pytest.raises(UsageError, match="Candidates"):
        best_pour_direction(tripod.vertices, tripod.faces, candidates=np.zeros((0, 3)))
    with pytest.raises(NotASolidError):
        best_pour_direction(tripod.vertices, tripod.faces[:-9], candidates=np.eye(3))
