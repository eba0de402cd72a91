"""Shapes with a known mirror plane, and the damage that scans come with.

Every shape is the half of a real or invented body on one side of a cut, and its mirror image: the cut is
the truth, exactly. The mirror image is decimated to half its triangles, so that the two sides share none and
the seam is open.
"""

from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

Mesh = tuple[np.ndarray, np.ndarray]
SCAN_TRIANGLES = 40_000
DATA = Path(__file__).resolve().parents[3] / "shared" / "data"

# name: file (or loader), direction of the cut's normal, share of the extent below the cut (None: at 0)
CUTS: dict[str, tuple[str, tuple[float, float, float], float | None]] = {
    "head": ("mne:head", (1, 0, 0), 0.5),
    "brain": ("nilearn:pial_left", (1, 0, 0), 0.35),
    "inflated": ("nilearn:infl_left", (1, 0, 0), 0.4),
    "ant": ("pyvista:ant", (1, 0, 0), 0.5),
    "airplane": ("pyvista:airplane", (1, 0, 0), 0.5),
    "cow": ("organic/spot-cow.obj", (1, 0, 0), None),
    "bunny": ("organic/stanford-bunny.ply", (0.2, 0.1, 1), 0.5),
    "nefertiti": ("scans/os_nefertiti-lowres.obj", (1, 0, 0), 0.5),
    "goat": ("scans/os_goathead.obj", (1, 0, 0), 0.5),
    "koala": ("scans/os_koala_low_resolution.obj", (1, 0, 0), 0.5),
    "hand": ("scans/os_hand_closed.obj", (0, 0, 1), 0.45),
    "skull": ("scans/os_skull_low_resolution.obj", (1, 0, 0), None),
    "ear": ("scans/ah_ear_left.stl", (0.3, 1, 0.2), 0.45),
    "bust": ("scans/os_demosthenes-low-res.obj", (1, 0, 0), 0.5),
    "phantom": ("demo:head", (1, 0, 0), None),
    "fox": ("demo:animal", (1, 0, 0), 0.5),
}
IN_MM = ("head", "phantom")


def load(source: str) -> Mesh:
    """Return a welded mesh from a package or from the folder of test meshes."""
    kind, _, name = source.partition(":")
    if kind == "mne":
        import mne

        folder = Path(mne.__file__).parent / "data" / "fsaverage"
        surface = mne.read_bem_surfaces(folder / "fsaverage-head.fif", verbose="error")[0]
        return surface["rr"] * 1000.0, surface["tris"].astype(np.int64)
    if kind == "nilearn":
        from nilearn.datasets import fetch_surf_fsaverage
        from nilearn.surface import load_surf_mesh

        surface = load_surf_mesh(fetch_surf_fsaverage("fsaverage5")[name])
        return np.asarray(surface.coordinates, float), np.asarray(surface.faces, np.int64)
    if kind == "demo":
        return _demo(name)
    import pyvista

    folder = (
        Path(pyvista.__file__).parent / "examples" / f"{name}.ply" if kind == "pyvista" else DATA / source
    )
    surface = pyvista.read(folder).extract_surface(algorithm="dataset_surface").clean().triangulate()
    return arrays(surface)


def _demo(name: str) -> Mesh:
    import demo_shapes

    if name == "animal":
        mesh = demo_shapes.animal("small").solid.mesh
        return mesh.vertices, mesh.faces
    head = demo_shapes.phantom_head("small")
    return (head.scan.vertices - head.pose[:3, 3]) @ head.pose[:3, :3] * [-1, 1, 1], head.scan.faces[:, ::-1]


def arrays(surface) -> Mesh:
    return np.asarray(surface.points, float), surface.faces.reshape(-1, 4)[:, 1:].astype(np.int64)


def polydata(mesh: Mesh):
    import pyvista

    return pyvista.PolyData(mesh[0], np.column_stack([np.full(len(mesh[1]), 3), mesh[1]]).ravel())


def joined(*meshes: Mesh) -> Mesh:
    counts = np.cumsum([0, *(len(v) for v, _ in meshes)])
    return (
        np.concatenate([v for v, _ in meshes]),
        np.concatenate([f + shift for (_, f), shift in zip(meshes, counts[:-1], strict=True)]),
    )


def areas(mesh: Mesh) -> np.ndarray:
    a, b, c = np.moveaxis(mesh[0][mesh[1]], 1, 0)
    return np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2


def diagonal(mesh: Mesh) -> float:
    used = mesh[0][np.unique(mesh[1])]
    return float(np.linalg.norm(np.ptp(used, axis=0)))


def decimated(mesh: Mesh, keep: float) -> Mesh:
    return arrays(polydata(mesh).decimate(1.0 - keep)) if keep < 1.0 else mesh


@cache
def half(name: str) -> Mesh:
    """Return the part of a shape with x < 0 after the cut has been moved to x = 0."""
    source, direction, share = CUTS[name]
    vertices, faces = load(source)
    x = np.asarray(direction, float) / np.linalg.norm(direction)
    frame = np.linalg.svd(np.eye(3) - np.outer(x, x))[0][:, :2]
    moved = np.column_stack([vertices @ x, vertices @ frame])
    if np.linalg.det(np.column_stack([x, frame])) < 0:
        moved[:, 2] *= -1
    level = 0.0 if share is None else np.quantile(moved[:, 0], share)
    moved[:, 0] -= level
    return arrays(polydata((moved, faces)).clip(normal="x", origin=(0, 0, 0), invert=True).triangulate())


def mirrored(mesh: Mesh) -> Mesh:
    return mesh[0] * [-1.0, 1.0, 1.0], mesh[1][:, ::-1]


@cache
def symmetric(name: str, keep: float = 0.5) -> Mesh:
    """Return the half and its mirror image, which is decimated to the share `keep`; plane x = 0."""
    return joined(half(name), decimated(mirrored(half(name)), keep))


def dense(mesh: Mesh, triangles: int = SCAN_TRIANGLES) -> Mesh:
    """Divide every triangle into four until there are at least so many; the surface stays the same."""
    vertices, faces = mesh
    while len(faces) < triangles:
        edges = np.sort(faces[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
        unique, index = np.unique(edges, axis=0, return_inverse=True)
        middle = len(vertices) + index.reshape(-1, 3)
        a, b, c = faces.T
        ab, bc, ca = middle.T
        vertices = np.concatenate([vertices, vertices[unique].mean(axis=1)])
        faces = np.concatenate(
            [np.stack(f, axis=1) for f in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))]
        )
    return vertices, faces


def subset(mesh: Mesh, faces: np.ndarray) -> Mesh:
    used, index = np.unique(mesh[1][faces], return_inverse=True)
    return mesh[0][used], index.reshape(-1, 3)


def cropped(mesh: Mesh, share: float, rng: np.random.Generator) -> Mesh:
    """Remove the share of the area that lies farthest in a random direction; the cut stays open."""
    direction = rng.normal(size=3)
    height = mesh[0][mesh[1]].mean(axis=1) @ direction
    order = np.argsort(-height)
    removed = np.cumsum(areas(mesh)[order]) < share * areas(mesh).sum()
    return subset(mesh, order[~removed])


def blob_missing(mesh: Mesh, share: float, rng: np.random.Generator) -> Mesh:
    """Remove the share of the area nearest to a random place on the surface."""
    centers = mesh[0][mesh[1]].mean(axis=1)
    seed = rng.choice(len(centers), p=areas(mesh) / areas(mesh).sum())
    order = np.argsort(np.linalg.norm(centers - centers[seed], axis=1))
    removed = np.cumsum(areas(mesh)[order]) < share * areas(mesh).sum()
    return subset(mesh, order[~removed])


def noisy(mesh: Mesh, share: float, rng: np.random.Generator) -> Mesh:
    """Move every vertex by isotropic Gaussian noise of `share` of the diagonal."""
    return mesh[0] + rng.normal(size=mesh[0].shape) * share * diagonal(mesh), mesh[1]


def lump(rng: np.random.Generator) -> Mesh:
    """Return a random closed lump without symmetry, about one across."""
    import pyvista

    ball = pyvista.Icosphere(nsub=4)
    vertices, faces = arrays(ball)
    bumps = sum(
        rng.normal(scale=0.25)
        * np.sin(vertices @ rng.normal(size=3) * rng.uniform(1, 4) + rng.uniform(0, 6.3))
        for _ in range(6)
    )
    return vertices * np.exp(bumps)[:, None] * rng.uniform(0.4, 1.0, size=3), faces


def plate(rng: np.random.Generator) -> Mesh:
    """Return an open, slightly wavy sheet with a random quadrilateral outline."""
    import pyvista

    sheet = pyvista.Plane(i_resolution=30, j_resolution=30).triangulate()
    vertices, faces = arrays(sheet)
    shear = np.eye(3) + np.array([[0, rng.normal(scale=0.3), 0], [rng.normal(scale=0.3), 0, 0], [0, 0, 0]])
    vertices = vertices @ shear
    wave = 0.02 * np.sin(vertices @ rng.normal(size=3) * 6 + rng.uniform(0, 6))
    return vertices + wave[:, None] * [0, 0, 1], faces


def cluttered(mesh: Mesh, share: float, rng: np.random.Generator) -> Mesh:
    """Attach foreign lumps and a sheet; their area is `share` of the whole."""
    parts = [lump(rng), lump(rng), plate(rng)]
    weights = rng.dirichlet([2, 2, 2]) * areas(mesh).sum() * share / (1 - share)
    centers = mesh[0][mesh[1]].mean(axis=1)
    placed = []
    for part, weight in zip(parts, weights, strict=True):
        scale = np.sqrt(weight / areas(part).sum())
        at = centers[rng.choice(len(centers), p=areas(mesh) / areas(mesh).sum())]
        turn = Rotation.random(rng=rng).as_matrix()
        outward = at - centers.mean(axis=0)
        outward /= np.linalg.norm(outward)
        vertices = part[0] @ turn.T * scale
        reach = (vertices @ outward).min()
        placed.append((vertices + at - 0.9 * reach * outward, part[1]))
    return joined(mesh, *placed)


def void(mesh: Mesh, radius_mm: float, rng: np.random.Generator) -> Mesh:
    """Remove what lies within a ball about a random place of the surface."""
    centers = mesh[0][mesh[1]].mean(axis=1)
    at = centers[rng.choice(len(centers), p=areas(mesh) / areas(mesh).sum())]
    return subset(mesh, np.flatnonzero(np.linalg.norm(centers - at, axis=1) > radius_mm))


Damage = Callable[[str, np.random.Generator], Mesh]

CONDITIONS: dict[str, Damage] = {
    "clean": lambda name, _: symmetric(name),
    "clean, shared tessellation": lambda name, _: symmetric(name, 1.0),
    "crop 10 %": lambda name, rng: cropped(symmetric(name), 0.1, rng),
    "crop 20 %": lambda name, rng: cropped(symmetric(name), 0.2, rng),
    "crop 40 %": lambda name, rng: cropped(symmetric(name), 0.4, rng),
    "blob 10 % missing": lambda name, rng: blob_missing(symmetric(name), 0.1, rng),
    "void of 30 mm": lambda name, rng: void(symmetric(name), 15.0, rng),
    "noise 0.5 %": lambda name, rng: noisy(dense(symmetric(name)), 0.005, rng),
    "noise 0.5 %, coarse mesh": lambda name, rng: noisy(symmetric(name), 0.005, rng),
    "one side at 10 % density": lambda name, _: symmetric(name, 0.1),
    "clutter 20 %": lambda name, rng: cluttered(symmetric(name), 0.2, rng),
    "clutter 40 %": lambda name, rng: cluttered(symmetric(name), 0.4, rng),
    "blob + noise 0.2 % + clutter 20 %": lambda name, rng: cluttered(
        noisy(blob_missing(dense(symmetric(name)), 0.1, rng), 0.002, rng), 0.2, rng
    ),
}


def bodies_of(condition: str) -> tuple[str, ...]:
    """Return the shapes that a condition is tried on."""
    return IN_MM if "mm" in condition else tuple(CUTS)


def posed(mesh: Mesh, rng: np.random.Generator) -> tuple[Mesh, np.ndarray, float, np.ndarray]:
    """Return the mesh in a random pose with the true normal, offset and a point of the plane amid it."""
    rotation = Rotation.random(rng=rng).as_matrix()
    shift = rng.normal(size=3) * diagonal(mesh)
    normal = rotation[:, 0]
    center = mesh[0].mean(axis=0) * [0, 1, 1]
    return (
        (mesh[0] @ rotation.T + shift, mesh[1]),
        normal,
        float(normal @ shift),
        rotation @ center + shift,
    )
