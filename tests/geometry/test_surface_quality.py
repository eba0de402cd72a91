import numpy as np
import pytest

from mirrorprep.geometry.normals import vertex_normals
from mirrorprep.geometry.surface_quality import noise_sd_mm, rings, spikes
from mirrorprep.geometry.topology import edge_table
from mirrorprep.solid.primitives import box, sphere


def neighbourhoods(mesh):
    table = edge_table(mesh.faces)
    return rings(table.edges, table.open, len(mesh.vertices))


def noisy_ball(sd, segments=160, seed=0):
    ball = sphere(50.0, segments=segments).mesh
    shift = np.random.default_rng(seed).normal(0.0, sd, len(ball.vertices))
    return ball.with_geometry(ball.vertices * (1.0 + shift[:, None] / 50.0))


@pytest.mark.parametrize("sd", [0.01, 0.05, 0.2])
def test_known_noise_is_estimated_within_a_tenth(sd):
    mesh = noisy_ball(sd)
    normals = vertex_normals(mesh.vertices, mesh.faces)
    assert noise_sd_mm(mesh.vertices, normals, neighbourhoods(mesh)) == pytest.approx(sd, rel=0.1)


def test_a_smooth_ball_reads_as_nearly_without_noise():
    mesh = noisy_ball(0.0)
    normals = vertex_normals(mesh.vertices, mesh.faces)
    assert noise_sd_mm(mesh.vertices, normals, neighbourhoods(mesh)) < 1e-3


def test_noise_of_too_few_points_is_unknown():
    mesh = box([1, 1, 1]).mesh
    normals = vertex_normals(mesh.vertices, mesh.faces)
    assert noise_sd_mm(mesh.vertices, normals, neighbourhoods(mesh)) is None


def test_needles_are_found_and_a_box_has_none():
    mesh = noisy_ball(0.01)
    tips = np.array([5, 700, 2500])
    vertices = np.array(mesh.vertices)
    vertices[tips] *= 1.2
    assert spikes(vertices, neighbourhoods(mesh)).tolist() == tips.tolist()
    assert len(spikes(mesh.vertices, neighbourhoods(mesh))) == 0
    corner = box([9, 9, 9]).mesh
    assert len(spikes(corner.vertices, neighbourhoods(corner))) == 0


def test_vertices_on_an_open_edge_are_not_judged():
    mesh = noisy_ball(0.0)
    vertices = np.array(mesh.vertices)
    vertices[mesh.faces[0, 0]] *= 1.5
    opened = mesh.with_geometry(vertices, mesh.faces[1:])
    assert mesh.faces[0, 0] not in spikes(vertices, neighbourhoods(opened))
