"""Meshes to and from trimesh, for scripts that work with both."""

import numpy as np
import trimesh

from mirrorprep.errors import UsageError
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.solid import Solid


def to_trimesh(shape: ScanMesh | Solid) -> trimesh.Trimesh:
    """Return a trimesh mesh with the same vertices and faces, in millimetres.

    Nothing is merged (``process=False``), so what is closed by index stays closed.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> to_trimesh(box([1, 2, 3])).is_watertight
    True
    """
    mesh = shape.mesh if isinstance(shape, Solid) else shape
    return trimesh.Trimesh(
        vertices=np.array(mesh.vertices),
        faces=np.array(mesh.faces),
        vertex_colors=None if mesh.colors is None else np.array(mesh.colors),
        process=False,
        metadata={"units": "mm"},
    )


def from_trimesh(mesh: trimesh.Trimesh) -> ScanMesh:
    """Return a trimesh mesh, in millimetres, as a scan.

    Raises
    ------
    UsageError
        If it is a scene or a cloud of points.

    Examples
    --------
    >>> from_trimesh(trimesh.creation.box((1, 2, 3))).size_mm.tolist()
    [1.0, 2.0, 3.0]
    """
    if not isinstance(mesh, trimesh.Trimesh):
        raise UsageError(f"{type(mesh).__name__} is not a single mesh.", remedy="Give a trimesh.Trimesh.")
    colored = mesh.visual.kind == "vertex"
    return ScanMesh(
        vertices=np.asarray(mesh.vertices),
        faces=np.asarray(mesh.faces),
        colors=np.asarray(mesh.visual.vertex_colors) if colored else None,
    )
