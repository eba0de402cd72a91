"""Patches over holes cut in spheres and ellipsoids, whose missing part is known."""

import numpy as np
import pytest

from mirrorprep.geometry.borders import border_loops
from mirrorprep.geometry.hole_patch import (
    PatchKind,
    Surroundings,
    find_hole,
    flat_patch,
    plain_patch,
    smooth_patch,
)
from mirrorprep.geometry.topology import edge_table
from mirrorprep.solid.primitives import frustum, sphere

AXES = {"sphere": (50.0, 50.0, 50.0), "ellipsoid": (60.0, 50.0, 42.0)}


def cut(axes, angle_deg, noise_mm=0.0, segments=200):
    ball = sphere(1.0, segments=segments).mesh
    way = np.array([0.48, 0.6, 0.64])
    middles = ball.triangles.mean(axis=1)
    near = middles @ way / np.linalg.norm(middles, axis=1) > np.cos(np.radians(angle_deg))
    shift = np.random.default_rng(0).normal(0.0, noise_mm, len(ball.vertices))
    normals = ball.vertices / np.array(axes)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    vertices, faces = ball.vertices * axes + shift[:, None] * normals, ball.faces[~near]
    table = edge_table(faces)
    (border,) = border_loops(faces, table)
    around = Surroundings(vertices, faces, table)
    return around, find_hole(around, border)


def error_share(hole, patch, axes):
    """Return the largest distance of the patch from the ellipsoid as a share of the hole's width."""
    rim = hole.rim
    width = np.linalg.norm(rim[:, None] - rim[None], axis=2).max()
    scaled = patch.vertices / axes
    reach = np.linalg.norm(scaled, axis=1)
    slope = np.linalg.norm(scaled / np.array(axes), axis=1) / reach
    return np.abs((reach - 1.0) / slope).max() / width


@pytest.mark.parametrize("shape", AXES)
@pytest.mark.parametrize(("angle", "limit"), [(8, 0.002), (20, 0.004), (35, 0.015), (50, 0.02)])
def test_a_smooth_patch_meets_the_missing_cap_where_a_flat_one_does_not(shape, angle, limit):
    axes = AXES[shape]
    around, hole = cut(axes, angle)
    smooth, flat = smooth_patch(around, hole), flat_patch(hole)
    assert smooth.kind is PatchKind.SMOOTH
    assert error_share(hole, smooth, axes) < limit
    assert error_share(hole, flat, axes) > 8 * limit


def test_noise_of_a_tenth_of_the_spacing_costs_little():
    around, hole = cut(AXES["sphere"], 20, noise_mm=0.15)
    assert error_share(hole, smooth_patch(around, hole), AXES["sphere"]) < 0.015


def test_patches_leave_the_rim_and_close_it():
    around, hole = cut(AXES["ellipsoid"], 20)
    count = len(hole.rim)
    for patch in (smooth_patch(around, hole), flat_patch(hole), plain_patch(hole)):
        table = edge_table(patch.faces)
        assert table.open.sum() == count
        assert not (table.non_manifold | table.inconsistent).any()
        assert (table.edges[table.open] < count).all()
        assert len(np.unique(patch.faces)) == count + len(patch.vertices)


def test_the_slope_tells_a_hole_in_a_surface_from_the_end_of_a_tube():
    for angle in (8, 35):
        around, hole = cut(AXES["sphere"], angle)
        assert hole.slope == pytest.approx(np.cos(np.radians(angle)), abs=0.03)
    tube = frustum([0, 0, 0], [0, 0, 30], start_radius_mm=5, stop_radius_mm=5).mesh
    wall = np.ptp(tube.vertices[tube.faces][:, :, 2], axis=1) > 0
    table = edge_table(tube.faces[wall])
    around = Surroundings(tube.vertices, tube.faces[wall], table)
    for border in border_loops(tube.faces[wall], table):
        assert abs(find_hole(around, border).slope) < 0.1


def test_corners_the_mesh_joins_already_are_not_joined_again():
    # A rim with a tooth: the triangle beside it joins the corners before and after.
    corners = np.array([[0.0, 0, 0], [4, 0, 0], [4, 4, 0], [0, 4, 0], [2, 0.5, 0], [-9, -9, 0], [9, -9, 0]])
    faces = np.array([[0, 1, 4], [0, 5, 1], [1, 5, 6], [1, 6, 2], [0, 3, 5]])
    table = edge_table(faces)
    around = Surroundings(corners, faces, table)
    border = border_loops(faces, table)[0]
    place = {int(c): i for i, c in enumerate(border.corners)}
    joined = {tuple(sorted(pair)) for pair in around.bridges(border.corners).tolist()}
    assert tuple(sorted((place[0], place[1]))) in joined
