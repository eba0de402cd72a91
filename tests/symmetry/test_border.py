"""Open borders: found where the surface ends, not where it is merely torn or soup."""

import numpy as np
import pytest

from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.symmetry.cloud import sample


def sheet(low: float, high: float, steps: int) -> tuple[np.ndarray, np.ndarray]:
    """A square of side 40 in the xy-plane between x = low and high."""
    x, y = np.meshgrid(np.linspace(low, high, steps), np.linspace(-20, 20, 41), indexing="ij")
    vertices = np.stack([x, y, np.zeros_like(x)], axis=-1).reshape(-1, 3)
    corner = (np.arange(steps - 1)[:, None] * 41 + np.arange(40)).ravel()
    faces = [[corner, corner + 41, corner + 42], [corner, corner + 42, corner + 1]]
    return vertices, np.concatenate([np.stack(f, axis=1) for f in faces])


def joined(*parts):
    shift = np.cumsum([0, *(len(v) for v, _ in parts)])
    faces = [f + s for (_, f), s in zip(parts, shift[:-1], strict=True)]
    return ScanMesh(vertices=np.concatenate([v for v, _ in parts]), faces=np.concatenate(faces))


def test_border_is_the_rim_and_a_seam_is_none():
    # Two halves with different vertices along x = 0: open edges there, but the surface goes on.
    cloud = sample(
        joined(sheet(-20, 0, 21), (sheet(0, 20, 18)[0] * [1, 0.999, 1], sheet(0, 20, 18)[1])), seed=0
    )
    points = cloud.edges.points * cloud.scale_mm + cloud.center_mm
    rim = np.abs(points[:, :2]).max(axis=1)
    assert rim.min() > 19.9
    assert len(points) > 100
    outward = np.sign(points[:, :2]) * (np.abs(points[:, :2]) > 19.9)
    corner = (np.abs(points[:, :2]) > 18).all(axis=1)
    assert (np.einsum("ij,ij->i", outward, cloud.edges.outward[:, :2]) > 0.9)[~corner].all()
    assert cloud.edges.opening == pytest.approx(40 * np.sqrt(2) / cloud.scale_mm, rel=0.02)


def test_samples_at_the_rim_are_flagged():
    cloud = sample(joined(sheet(-20, 20, 41)), seed=0)
    inset = 20 - np.abs(cloud.points[:, :2] * cloud.scale_mm + cloud.center_mm[:2]).max(axis=1)
    assert cloud.border[inset < 0.4].all()
    assert not cloud.border[inset > 1.0].any()


def test_beyond_lies_off_the_edge_within_the_opening():
    cloud = sample(joined(sheet(-20, 20, 41)), seed=0)
    places = (np.array([[25.0, 0, 0], [22, 3, 1], [15, 0, 0], [90, 0, 0]]) - cloud.center_mm) / cloud.scale_mm
    _, nearest = cloud.edges.distance(places, reach=9.0)
    assert cloud.edges.beyond(places, nearest).tolist() == [True, True, False, False]


def test_closed_bodies_and_soup_have_none(blob_cloud):
    assert len(blob_cloud.edges.points) == 0
    assert not blob_cloud.border.any()
    assert not blob_cloud.edges.beyond(blob_cloud.points, np.zeros(len(blob_cloud.points), int)).any()
    rng = np.random.default_rng(0)
    loose = (rng.normal(size=(3000, 1, 3)) * 20 + rng.normal(size=(3000, 3, 3))).reshape(-1, 3)
    cloud = sample(ScanMesh(vertices=loose, faces=np.arange(9000).reshape(-1, 3)), seed=0)
    assert not cloud.border.any()
