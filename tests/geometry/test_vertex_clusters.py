import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mirrorprep.geometry.mass_properties import signed_volume_mm3
from mirrorprep.geometry.vertex_clusters import clustered
from mirrorprep.solid.primitives import box, frustum, sphere
from mirrorprep.solid.solid import union


def unpaired(faces):
    """Directed edges that do not run as often one way as the other: none on a closed surface."""
    edges = np.vstack([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    count = {}
    for a, b in edges.tolist():
        count[min(a, b), max(a, b)] = count.get((min(a, b), max(a, b)), 0) + (1 if a < b else -1)
    return sum(value != 0 for value in count.values())


def test_ball_keeps_its_volume_with_a_tenth_of_its_triangles():
    # closed form 4/3 π r³; vertices on the sphere alone would leave a ball of so few triangles 1 % short
    mesh = sphere(10.0, segments=200).mesh
    vertices, faces = clustered(mesh.vertices, mesh.faces, cells=16)
    assert len(faces) < 0.15 * len(mesh.faces)
    assert unpaired(faces) == 0
    assert signed_volume_mm3(vertices, faces) == pytest.approx(4 / 3 * np.pi * 1000.0, rel=6e-3)


def test_planes_and_edges_of_a_box_stay():
    body = box([30.0, 20.0, 6.0])
    mesh = body.body.refine(16).to_mesh64()
    vertices, faces = clustered(mesh.vert_properties[:, :3], mesh.tri_verts.astype(np.int64), cells=20)
    assert unpaired(faces) == 0
    assert signed_volume_mm3(vertices, faces) == pytest.approx(3600.0, rel=1e-3)
    np.testing.assert_allclose(np.ptp(vertices, axis=0), [30.0, 20.0, 6.0], atol=0.02)


def test_thin_wall_is_not_welded():
    # a plate far thinner than a cell: sorted by normals, its sides stay apart
    mesh = box([40.0, 30.0, 0.2]).body.refine(24).to_mesh64()
    vertices, faces = clustered(mesh.vert_properties[:, :3], mesh.tri_verts.astype(np.int64), cells=16)
    assert signed_volume_mm3(vertices, faces) == pytest.approx(240.0, rel=0.02)


@settings(deadline=None, max_examples=20, derandomize=True)
@given(st.integers(0, 10_000), st.integers(4, 40))
def test_copies_of_any_body_are_closed(seed, cells):
    rng = np.random.default_rng(seed)
    balls = [sphere(rng.uniform(2, 6), center_mm=rng.uniform(-8, 8, 3), segments=24) for _ in range(6)]
    rod = frustum([-12, 0, 0], [12, 3, 2], start_radius_mm=1.0, stop_radius_mm=0.5)
    mesh = union([*balls, rod]).mesh
    vertices, faces = clustered(mesh.vertices, mesh.faces, cells=cells)
    assert np.isfinite(vertices).all()
    assert unpaired(faces) == 0


def test_nothing_is_lost_in_fine_cells():
    mesh = sphere(10.0, segments=24).mesh
    vertices, faces = clustered(mesh.vertices, mesh.faces, cells=400)
    assert len(faces) == len(mesh.faces)
    assert signed_volume_mm3(vertices, faces) == pytest.approx(
        signed_volume_mm3(mesh.vertices, mesh.faces), rel=1e-3
    )
