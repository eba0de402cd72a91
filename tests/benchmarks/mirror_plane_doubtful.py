"""Bodies whose mirror plane is not single, bodies without one, and whole ones with one."""

import zlib

import mirror_plane_shapes as shapes
import numpy as np

from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.symmetry.search import find_mirror_plane


def turned_profile(radius: np.ndarray, height: np.ndarray, segments: int = 96) -> shapes.Mesh:
    """Return an open surface of revolution about z."""
    angle = np.linspace(0, 2 * np.pi, segments, endpoint=False)
    ring = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    vertices = np.concatenate(
        [np.column_stack([ring * r, np.full(segments, h)]) for r, h in zip(radius, height, strict=True)]
    )
    j = np.arange(segments)
    k = (j + 1) % segments
    faces = [
        np.concatenate(
            [
                np.stack([i + j, i + k, i + segments + k], 1),
                np.stack([i + j, i + segments + k, i + segments + j], 1),
            ]
        )
        for i in range(0, (len(radius) - 1) * segments, segments)
    ]
    return vertices, np.concatenate(faces)


def vase() -> shapes.Mesh:
    t = np.linspace(0, 1, 60)
    return turned_profile(1 + 0.35 * np.sin(5 * t) + 0.2 * t, 3 * t)


def standard(kind: str, **settings):
    import pyvista

    return lambda: shapes.arrays(getattr(pyvista, kind)(**settings).triangulate().clean())


def loaded(source: str):
    return lambda: shapes.load(source)


def lump() -> shapes.Mesh:
    return shapes.lump(np.random.default_rng(3))


MANY, FAMILY, NONE, ONE = "several planes", "a family", "no plane", "one plane"

BODIES = {
    "sphere": (FAMILY, standard("Icosphere", nsub=4)),
    "coarse sphere": (FAMILY, standard("Sphere")),
    "vase": (FAMILY, vase),
    "torus": (FAMILY, standard("ParametricTorus")),
    "cone": (FAMILY, standard("Cone", resolution=128)),
    "flat sheet": (FAMILY, standard("Plane", i_size=3, j_size=2, i_resolution=30, j_resolution=20)),
    "cylinder": (FAMILY, standard("Cylinder", resolution=128)),
    "capsule": (FAMILY, standard("Capsule")),
    "cube": (MANY, standard("Cube")),
    "box 2 × 3 × 5": (MANY, standard("Cube", x_length=2, y_length=3, z_length=5)),
    "thin box 1 × 8 × 9": (MANY, standard("Cube", x_length=1, y_length=8, z_length=9)),
    "rod 1 × 1 × 10": (MANY, standard("Cube", x_length=1, y_length=1, z_length=10)),
    "hexagonal prism": (MANY, standard("Cylinder", resolution=6)),
    "ellipsoid": (MANY, standard("ParametricEllipsoid", xradius=1, yradius=1.5, zradius=2.2)),
    "nut": (MANY, loaded("pyvista:nut")),
    "hand": (NONE, loaded("scans/os_hand_closed.obj")),
    "ear on a plate": (NONE, loaded("scans/ah_ear_left.stl")),
    "brain hemisphere": (NONE, loaded("nilearn:pial_left")),
    "lump": (NONE, lump),
    "whole head": (ONE, loaded("mne:head")),
    "whole skull": (ONE, loaded("scans/os_skull_low_resolution.obj")),
    "whole bust": (ONE, loaded("scans/os_nefertiti-lowres.obj")),
    "whole goat head": (ONE, loaded("scans/os_goathead.obj")),
    "whole koala": (ONE, loaded("scans/os_koala_low_resolution.obj")),
    "whole head from CT": (ONE, loaded("scans/mc_headsq_skin.ply")),
}


def run(condition: str, name: str, number: int) -> dict:
    """Search the plane of a body in a random pose."""
    rng = np.random.default_rng(zlib.crc32(f"{condition}|{name}|{number}".encode()))
    (vertices, faces), *_ = shapes.posed(BODIES[name][1](), rng)
    result = find_mirror_plane(ScanMesh(vertices=vertices, faces=faces), seed=number)
    return {
        "condition": condition,
        "shape": name,
        "number": number,
        "status": result.status,
        "codes": [finding.code for finding in result.findings],
        "nats": result.evidence_nats,
        "slip": result.slip,
        "scores": [ranked.score for ranked in result.alternatives],
    }
