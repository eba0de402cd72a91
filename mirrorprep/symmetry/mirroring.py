"""Mirroring a scan or a solid across a plane, right side out."""

from dataclasses import replace
from typing import overload

from mirrorprep.geometry.reflection import reflect, reflection_matrix
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.solid import Solid


@overload
def mirror(shape: ScanMesh, plane: Plane) -> ScanMesh: ...
@overload
def mirror(shape: Solid, plane: Plane) -> Solid: ...
def mirror(shape: ScanMesh | Solid, plane: Plane) -> ScanMesh | Solid:
    """Return the shape mirrored across a plane.

    Parameters
    ----------
    shape : ScanMesh or Solid
        What to mirror; stays as it is.
    plane : Plane
        The mirror plane.

    Returns
    -------
    ScanMesh or Solid
        The same type. The order of the corners is reversed, so that the outside stays outside; vertices
        keep their numbers and colours.

    Notes
    -----
    A mirrored ear is a starting shape, not a copy of the lost one.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> image = mirror(box([2, 4, 6], center_mm=[10, 0, 0]), Plane(normal=[1, 0, 0], offset_mm=0))
    >>> image.bounds_mm[:, 0].tolist(), image.volume_mm3
    ([-11.0, -9.0], 48.0)
    """
    if isinstance(shape, Solid):
        return shape.transformed(reflection_matrix(plane.normal, plane.offset_mm))
    return replace(
        shape,
        vertices=reflect(shape.vertices, plane.normal, plane.offset_mm),
        faces=shape.faces[:, [0, 2, 1]],
    )
