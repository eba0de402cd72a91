"""Ranking: repeats, sliding planes, hints."""

import numpy as np

from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.symmetry import lattice
from mirrorprep.symmetry.cloud import sample
from mirrorprep.symmetry.judge import distinct, judge, triage
from mirrorprep.symmetry.refine import polished


def vase() -> ScanMesh:
    """A surface of revolution about z, open at both ends."""
    t, angle = np.linspace(0, 1, 40), np.linspace(0, 2 * np.pi, 72, endpoint=False)
    radius = 30 * (1 + 0.35 * np.sin(5 * t) + 0.2 * t)
    ring = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    vertices = np.concatenate(
        [np.column_stack([ring * r, np.full(72, 90 * h)]) for r, h in zip(radius, t, strict=True)]
    )
    j = np.arange(72)
    k = (j + 1) % 72
    faces = [
        np.stack([i + a, i + b, i + c], axis=1)
        for i in range(0, 39 * 72, 72)
        for a, b, c in ((j, k, k + 72), (j, k + 72, j + 72))
    ]
    return ScanMesh(vertices=vertices, faces=np.concatenate(faces))


def test_repeats_are_dropped_whichever_way_the_normal_points():
    tilt = np.radians(2.0)
    normals = np.array([[1, 0, 0], [-1, 0, 0], [np.cos(tilt), np.sin(tilt), 0], [1, 0, 0], [0, 1, 0.0]])
    offsets = np.array([0.1, -0.1, 0.1, 0.2, 0.1])
    assert distinct(normals, offsets, range(5)) == [0, 3, 4]
    assert distinct(normals, offsets, [4, 1, 0, 2, 3]) == [4, 1, 3]


def test_the_plane_that_slides_ranks_below_its_evidence():
    cloud = sample(vase(), seed=0)
    grid = lattice.build(cloud)
    # Through the axis at the middle: any turn about z does as well.
    done = polished(cloud, np.array([[1.0, 0, 0]]), np.zeros(1), points=800, steps=4, seed=0)
    judged = judge(cloud, grid, done, hint=None, seed=0)
    assert judged.nats[0] > 2.0
    assert judged.sharpness[0] < 0.1
    assert judged.slip[0, 0] < 0.03 < judged.slip[0, 1]
    assert judged.scores[0] < 0.2 * judged.nats[0]


def test_the_true_plane_ranks_first_and_firm(blob_cloud):
    grid = lattice.build(blob_cloud)
    normals = np.array([[0, 0, 1.0], [0, 1, 0], [1, 0, 0]])
    offsets = -(normals @ blob_cloud.center_mm) / blob_cloud.scale_mm
    normals, offsets = triage(blob_cloud, grid, normals, offsets, kept=2, hint=None, seed=0)
    assert abs(normals[0, 0]) == 1.0
    done = polished(blob_cloud, normals, offsets, points=800, steps=4, seed=0)
    judged = judge(blob_cloud, grid, done, hint=None, seed=0)
    assert abs(judged.normals[0, 0]) > 0.999999
    assert judged.sharpness[0] > 0.5
    assert judged.slip[0, 0] > 0.05
    assert judged.scores[0] == judged.nats[0]
