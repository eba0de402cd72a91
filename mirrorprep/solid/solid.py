"""Solid: a certified closed body, and the door to the solid kernel.

Only `mirrorprep.solid.certify.certify` and the operations here make a `Solid`, so that whatever holds one
may rely on it: every edge belongs to exactly two triangles that run opposite ways (3MF core specification
1.4, section 4.1), and the volume is positive.
"""

from collections.abc import Iterable, Sequence
from functools import cached_property
from typing import Any

import manifold3d
import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.errors import BooleanFailedError
from mirrorprep.geometry.mass_properties import MassProperties, mass_properties
from mirrorprep.geometry.winding_number import winding_numbers
from mirrorprep.solid.mesh import ScanMesh

FloatArray = NDArray[np.float64]

_CRUMB = 1e-12


class Solid:
    """A closed, outward-oriented body in millimetres, never changed in place.

    Boolean operations use the solid kernel in double precision; each is evaluated at once and its status
    checked, so a failure is reported where it happens.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> cut = box([20, 20, 20]) - box([10, 10, 30])
    >>> round(cut.volume_mm3, 6)
    6000.0
    """

    def __init__(self, body: Any) -> None:  # noqa: ANN401 - the kernel's own handle
        self._body = _checked(body)

    @property
    def body(self) -> Any:  # noqa: ANN401
        """The kernel's handle, for use inside the solid room only."""
        return self._body

    @cached_property
    def mesh(self) -> ScanMesh:
        """The surface as a mesh, in the kernel's own order."""
        raw = self._body.to_mesh64()
        return ScanMesh(vertices=raw.vert_properties[:, :3].copy(), faces=raw.tri_verts.astype(np.int64))

    @cached_property
    def mass_properties(self) -> MassProperties:
        """Volume, area, centroid and inertia."""
        return mass_properties(self.mesh.vertices, self.mesh.faces)

    @property
    def volume_mm3(self) -> float:
        """Volume; zero when empty."""
        return 0.0 if self.is_empty else float(self._body.volume())

    @property
    def is_empty(self) -> bool:
        """True when nothing is left."""
        return bool(self._body.is_empty())

    @property
    def bounds_mm(self) -> FloatArray:
        """Lowest and highest corner, shape (2, 3)."""
        return np.array(self._body.bounding_box(), dtype=np.float64).reshape(2, 3)

    def __add__(self, other: "Solid") -> "Solid":
        return Solid(self._body + other.body)

    def __sub__(self, other: "Solid") -> "Solid":
        return Solid(self._body - other.body)

    def __and__(self, other: "Solid") -> "Solid":
        return Solid(self._body ^ other.body)

    def split(self, cutter: "Solid") -> tuple["Solid", "Solid"]:
        """Return the part inside `cutter` and the part outside it, in one pass."""
        inside, outside = self._body.split(cutter.body)
        return Solid(inside), Solid(outside)

    def split_by_plane(self, normal: ArrayLike, offset_mm: float) -> tuple["Solid", "Solid"]:
        """Return the parts above (along the normal) and below the plane."""
        unit = np.asarray(normal, dtype=np.float64)
        unit = unit / np.linalg.norm(unit)
        above, below = self._body.split_by_plane(tuple(unit.tolist()), float(offset_mm))
        return Solid(above), Solid(below)

    def transformed(self, matrix: ArrayLike) -> "Solid":
        """Return the body moved by a 4 × 4 matrix; a reflection keeps it right side out."""
        top = np.asarray(matrix, dtype=np.float64)[:3]
        return Solid(self._body.transform(top.copy()))

    def translated(self, shift_mm: ArrayLike) -> "Solid":
        """Return the body moved by a vector."""
        return Solid(self._body.translate(tuple(np.asarray(shift_mm, dtype=np.float64).tolist())))

    def fragments(self) -> list["Solid"]:
        """Return the disconnected pieces, the largest first; a hollow belongs to the piece around it.

        Hollows below 1e-12 of the largest piece are crumbs of rounding and are left out. A body inside out
        has no pieces.
        """
        surfaces = sorted(self._body.decompose(), key=lambda surface: -float(surface.volume()))
        outer = [[surface] for surface in surfaces if surface.volume() > 0.0]
        if not outer:
            return []
        least = -_CRUMB * surfaces[0].volume()
        for hollow in (surface for surface in surfaces if surface.volume() < least):
            _piece_around(outer, hollow).append(hollow)
        pieces = [Solid(_one_body(parts) if parts[1:] else parts[0]) for parts in outer]
        return sorted(pieces, key=lambda piece: -piece.volume_mm3)

    def simplified(self, tolerance_mm: float) -> "Solid":
        """Return the body with vertices removed that lie within `tolerance_mm` of what remains.

        The kernel remembers which faces were flat before and would flatten them again in later cuts, so the
        body is made anew from its triangles.
        """
        fewer = _checked(self._body.simplify(float(tolerance_mm)))
        return Solid(fewer if fewer.is_empty() else _one_body([fewer]))


def _piece_around(outer: list[list[Any]], hollow: Any) -> list[Any]:  # noqa: ANN401
    """Return the smallest piece whose outer surface goes around a hollow; the largest piece if none does."""
    point = np.array(hollow.to_mesh64().vert_properties[:1, :3])
    for parts in outer[::-1]:
        mesh = parts[0].to_mesh64()
        vertices, faces = np.array(mesh.vert_properties[:, :3]), mesh.tri_verts.astype(np.int64)
        if winding_numbers(point, vertices, faces).item() > 0.5:
            return parts
    return outer[0]


def _one_body(surfaces: list[Any]) -> Any:  # noqa: ANN401
    """Return the body that an outer surface and those of its hollows bound together."""
    meshes = [surface.to_mesh64() for surface in surfaces]
    starts = np.cumsum([0, *(len(mesh.vert_properties) for mesh in meshes)])
    faces = [mesh.tri_verts + np.uint64(start) for mesh, start in zip(meshes, starts, strict=False)]
    vertices = np.vstack([mesh.vert_properties[:, :3] for mesh in meshes])
    return manifold3d.Manifold(manifold3d.Mesh64(vert_properties=vertices, tri_verts=np.vstack(faces)))


def _checked(body: Any) -> Any:  # noqa: ANN401
    body.num_tri()  # the kernel is lazy: evaluate now, so that time and errors fall where they belong
    status = body.status()
    if status != manifold3d.Error.NoError:
        raise BooleanFailedError(
            f"The solid kernel answered '{status.name}'.",
            remedy="Check the inputs with 'mirrorprep check' and mend them.",
        )
    return body


def union(solids: Iterable[Solid]) -> Solid:
    """Return the union of any number of solids.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> round(union([box([1, 1, 1]), box([1, 1, 1], center_mm=[5, 0, 0])]).volume_mm3, 9)
    2.0
    """
    return Solid(manifold3d.Manifold.batch_boolean([s.body for s in solids], manifold3d.OpType.Add))


def difference(base: Solid, tools: Sequence[Solid]) -> Solid:
    """Return `base` less all `tools`."""
    if not tools:
        return base
    bodies = [base.body, *(tool.body for tool in tools)]
    return Solid(manifold3d.Manifold.batch_boolean(bodies, manifold3d.OpType.Subtract))
