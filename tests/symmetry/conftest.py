"""Bodies with a known mirror plane, made once."""

from collections.abc import Callable

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import demo_shapes
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.primitives import sphere
from mirrorprep.symmetry.cloud import Cloud, sample


@pytest.fixture(scope="session")
def phantom():
    """The invented head without its left ear; its skin is a function of |x| by construction."""
    return demo_shapes.phantom_head("small")


@pytest.fixture(scope="session")
def blob() -> ScanMesh:
    """A smooth body that is its own mirror image at x = 0 and at no other plane, to the last bit."""
    return lumpy(sphere(50.0, segments=96).mesh)


@pytest.fixture(scope="session")
def blob_cloud(blob) -> Cloud:
    return sample(blob, seed=0)


def lumpy(mesh: ScanMesh) -> ScanMesh:
    x, y, z = mesh.vertices.T / 50.0
    swell = 1 + 0.25 * np.sin(2.3 * y + 0.4) + 0.2 * np.cos(3.1 * z - 1.0) * y + 0.25 * np.abs(x) ** 2 * z
    return mesh.with_geometry(mesh.vertices * [1.0, 1.3, 0.8] * swell[:, None])


@pytest.fixture(scope="session")
def x_plane() -> Plane:
    return Plane(normal=np.array([1.0, 0, 0]), offset_mm=0.0)


@pytest.fixture(scope="session")
def posed() -> Callable[[ScanMesh, Plane, int], tuple[ScanMesh, Plane]]:
    return in_a_pose


def in_a_pose(mesh: ScanMesh, plane: Plane, seed: int) -> tuple[ScanMesh, Plane]:
    """Return mesh and plane in a random pose far from the origin."""
    rng = np.random.default_rng(seed)
    rotation = Rotation.random(rng=rng).as_matrix()
    shift = rng.normal(size=3) * mesh.diagonal_mm
    normal = rotation @ plane.normal
    moved = mesh.with_geometry(mesh.vertices @ rotation.T + shift)
    return moved, Plane(normal=normal, offset_mm=plane.offset_mm + float(normal @ shift))
