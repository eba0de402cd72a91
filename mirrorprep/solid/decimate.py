"""Decimation of closed surfaces by the solid kernel, for copies that are measured and never built with."""

import manifold3d
import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_ROUNDS = 2


def decimated(
    vertices: FloatArray, faces: IntArray, *, triangles: int, tolerance_mm: float
) -> tuple[FloatArray, IntArray]:
    """Return a closed surface with vertices removed until few triangles are left.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions in mm.
    faces : (m, 3) int64
        A closed, oriented surface, which may touch or cross itself.
    triangles : int
        Where to stop; the copy may keep more, when two rounds do not reach it.
    tolerance_mm : float
        How far a vertex may lie from what remains, in the first round; the second doubles it.

    Returns
    -------
    vertices, faces
        The copy; the surface as given where the kernel refuses it, or nothing of it would remain.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import sphere
    >>> ball = sphere(10.0, segments=128).mesh
    >>> copy = decimated(ball.vertices, ball.faces, triangles=2000, tolerance_mm=0.04)
    >>> len(ball.faces), len(copy[1]) < 3000
    (8192, True)
    """
    if len(faces) <= triangles:
        return vertices, faces
    body = manifold3d.Manifold(
        manifold3d.Mesh64(vert_properties=np.array(vertices), tri_verts=faces.astype(np.uint64))
    )
    for attempt in range(_ROUNDS):
        smaller = body.simplify(tolerance_mm * 2.0**attempt)
        if smaller.status() != manifold3d.Error.NoError or smaller.num_tri() == 0:
            break
        body = smaller
        if body.num_tri() <= triangles:
            break
    if body.status() != manifold3d.Error.NoError or body.num_tri() == 0:
        return vertices, faces
    mesh = body.to_mesh64()
    return mesh.vert_properties[:, :3].copy(), mesh.tri_verts.astype(np.int64)
