"""What others do: principal axes, and rigid registration of the mirrored scan (ICP)."""

import numpy as np
from mirror_plane_shapes import Mesh, areas
from scipy.spatial import KDTree

SAMPLES = 20_000
FEW = 2_000
START_STEPS = 30
LAST_STEPS = 8
TRIM = 3.0

Plane = tuple[np.ndarray, float]


def sampled(mesh: Mesh, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Return random points of the surface with face normals."""
    rng = np.random.default_rng(seed)
    area = areas(mesh)
    face = rng.choice(len(area), SAMPLES, p=area / area.sum())
    a, b, c = np.moveaxis(mesh[0][mesh[1][face]], 1, 0)
    r, s = np.sqrt(rng.random(SAMPLES))[:, None], rng.random(SAMPLES)[:, None]
    normal = np.cross(b - a, c - a)
    normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None]
    return (1 - r) * a + r * (1 - s) * b + r * s * c, normal


def principal_planes(points: np.ndarray) -> list[Plane]:
    """Return the three planes through the centroid along the principal axes."""
    center = points.mean(axis=0)
    axes = np.linalg.eigh(np.cov((points - center).T))[1].T
    return [(axis, float(axis @ center)) for axis in axes]


def registered(points: np.ndarray, normals: np.ndarray, tree: KDTree, start: Plane, steps: int):
    """Return plane and median residual after mirroring at the start plane and registering rigidly.

    Point-to-plane, pairs beyond three median distances dropped; the plane is read from the composed map,
    whose linear part has the eigenvalue −1 along the normal (Cicconet et al., arXiv 1611.05971).
    """
    normal, offset = start
    linear = np.eye(3) - 2 * np.outer(normal, normal)
    shift = 2 * offset * normal
    for _ in range(steps):
        image = points @ linear.T + shift
        distance, index = tree.query(image)
        keep = distance <= TRIM * np.median(distance)
        n = normals[index[keep]]
        gap = np.einsum("ij,ij->i", image[keep] - tree.data[index[keep]], n)
        jacobian = np.hstack([np.cross(image[keep], n), n])
        step = np.linalg.lstsq(jacobian, -gap, rcond=None)[0]
        turn = _rotation(step[:3])
        linear, shift = turn @ linear, turn @ shift + step[3:]
    values, vectors = np.linalg.eig(linear)
    axis = np.real(vectors[:, np.abs(values + 1).argmin()])
    axis /= np.linalg.norm(axis)
    return (axis, float(axis @ shift / 2)), float(np.median(np.abs(gap)))


def _rotation(vector: np.ndarray) -> np.ndarray:
    from scipy.spatial.transform import Rotation

    return Rotation.from_rotvec(vector).as_matrix()


def mirrored_icp(points: np.ndarray, normals: np.ndarray, seed: int) -> Plane:
    """Return the plane of least residual from the three principal starts, polished with all points."""
    center, scale = points.mean(axis=0), float(np.linalg.norm(np.ptp(points, axis=0)))
    points = (points - center) / scale
    some = np.random.default_rng(seed).choice(len(points), FEW, replace=False)
    tree = KDTree(points)
    few = [registered(points[some], normals, tree, start, START_STEPS) for start in principal_planes(points)]
    best = min(few, key=lambda found: found[1])[0]
    (axis, offset), _ = registered(points, normals, tree, best, LAST_STEPS)
    return axis, offset * scale + float(axis @ center)
