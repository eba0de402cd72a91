"""Bodies with known trapped volumes, and an opening test that is independent of the designer."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from mirrorprep.geometry.topology import bodies, edge_table
from mirrorprep.solid.certify import certify
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import box, frustum, sphere
from mirrorprep.solid.solid import union

TILT = np.eye(4)
TILT[:3, :3] = Rotation.from_euler("xyz", [17.0, -41.0, 73.0], degrees=True).as_matrix()


def quads(rows, columns, *, wrap_rows):
    """Triangles over a grid of vertices that wraps along its columns, and along its rows if asked."""
    i = np.arange(rows * columns).reshape(rows, columns)
    if not wrap_rows:
        a, b = i[:-1], i[1:]
    else:
        a, b = i, np.roll(i, -1, axis=0)
    c, d = np.roll(b, -1, axis=1), np.roll(a, -1, axis=1)
    return np.vstack([np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)])


def torus(ring_mm=10.0, tube_mm=3.0, around=240, across=120):
    a = 2 * np.pi * np.arange(around)[:, None] / around
    c = 2 * np.pi * np.arange(across)[None, :] / across
    reach = ring_mm + tube_mm * np.cos(c)
    points = np.stack([reach * np.cos(a), reach * np.sin(a), tube_mm * np.sin(c) + 0 * a], axis=-1)
    return certify(ScanMesh(vertices=points.reshape(-1, 3), faces=quads(around, across, wrap_rows=True)))


def dumbbell(ball_mm=10.0, apart_mm=12.0, rod_mm=3.0, segments=256):
    balls = [sphere(ball_mm, center_mm=[0, 0, z], segments=segments) for z in (-apart_mm, apart_mm)]
    rod = frustum(
        [0, 0, -apart_mm], [0, 0, apart_mm], start_radius_mm=rod_mm, stop_radius_mm=rod_mm, segments=segments
    )
    return union([*balls, rod])


def saddle(segments=160, *, bend_mm=60.0):
    """A flattened ellipsoid, bent into a saddle: no plane parts it, a contour-following surface does."""
    mesh = sphere(1.0, segments=segments).mesh
    points = mesh.vertices * [40.0, 30.0, 12.0]
    points[:, 2] += (points[:, 0] ** 2 - points[:, 1] ** 2) / bend_mm
    return certify(ScanMesh(vertices=points, faces=mesh.faces))


def opened(part, half, pull, shifts_mm=(0.02, 0.1, 0.5, 2.0, 8.0, 32.0)):
    """Largest volume that a half shares with the casting while it moves off along its pull."""
    return max((half.translated(np.asarray(pull) * s) & part).volume_mm3 for s in shifts_mm)


def split_block(part, surface, margin_mm=8.0):
    """Part in the pull frame, and both halves of a block around it."""
    turn = np.eye(4)
    turn[:3, :3] = surface.frame.T
    body = part.transformed(turn)
    low, high = body.bounds_mm + np.array([[-margin_mm], [margin_mm]])
    low[2] = min(low[2], surface.field.height_mm.min() - 2.0)
    high[2] = max(high[2], surface.field.height_mm.max() + 2.0)
    block = box(high - low, center_mm=(low + high) / 2.0) - body
    half_b, half_a = block.split(surface.solid_below(low[:2] - 1.0, high[:2] + 1.0, low[2] - 1.0))
    return body, half_a, half_b, float(np.prod(high - low))


def float32_faults(solid):
    """Bad edges and degenerate triangles after rounding to float32 and welding by position, as STL does."""
    corners = solid.mesh.vertices.astype(np.float32)[solid.mesh.faces].reshape(-1, 3)
    faces = np.unique(corners, axis=0, return_inverse=True)[1].reshape(-1, 3)
    flat = (faces[:, 0] == faces[:, 1]) | (faces[:, 1] == faces[:, 2]) | (faces[:, 2] == faces[:, 0])
    return int((edge_table(faces).uses != 2).sum()), int(flat.sum())


def mended_by_fans(vertices, faces):
    """A plain mending for test bodies: drop the worst triangles, close each hole with a fan."""
    for _ in range(30):
        table = edge_table(faces)
        bad = (table.non_manifold | table.inconsistent)[table.of_face].any(axis=1)
        if not bad.any():
            pinched = np.bincount(table.edges[table.open].ravel(), minlength=len(vertices)) > 2
            bad = pinched[faces].any(axis=1)
        if not bad.any():
            break
        faces = faces[~bad]
        body = bodies(faces, len(vertices))[1]
        faces = faces[body == np.bincount(body).argmax()]
    rim = np.argwhere(table.open[table.of_face])
    after = dict(
        zip(faces[rim[:, 0], (rim[:, 1] + 1) % 3].tolist(), faces[rim[:, 0], rim[:, 1]].tolist(), strict=True)
    )
    caps = []
    while after:
        loop = [next(iter(after))]
        while loop[-1] in after:
            loop.append(after.pop(loop[-1]))
        middle = len(vertices)
        vertices = np.vstack([vertices, vertices[loop[:-1]].mean(axis=0)])
        caps += [(a, b, middle) for a, b in pairwise(loop)]
    faces = np.vstack([faces, np.array(caps, dtype=np.int64).reshape(-1, 3)])
    used, index = np.unique(faces, return_inverse=True)
    return certify(ScanMesh(vertices=vertices[used], faces=index.reshape(-1, 3)))


def ply_solid(path, size_mm):
    trimesh = pytest.importorskip("trimesh")
    mesh = trimesh.load(path, process=False)
    mesh.merge_vertices(merge_tex=True, merge_norm=True)
    scale = size_mm / np.ptp(mesh.vertices, axis=0).max()
    return mended_by_fans(np.array(mesh.vertices) * scale, np.array(mesh.faces, dtype=np.int64))


@pytest.fixture(scope="session")
def shapes():
    """Makers of the bodies, and the opening test."""

    class Shapes:
        tilt = TILT

    for maker in (torus, dumbbell, saddle, opened, split_block, float32_faults, ply_solid):
        setattr(Shapes, maker.__name__, staticmethod(maker))
    return Shapes


@pytest.fixture(scope="session")
def bunny(shared_data):
    return ply_solid(shared_data / "organic" / "stanford-bunny.ply", 100.0)


@pytest.fixture(scope="session")
def saddle_body():
    return saddle()
