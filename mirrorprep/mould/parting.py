"""Parting surface: where the two halves of the mould meet."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.errors import NoPartingError, UsageError
from mirrorprep.geometry.height_field import HeightField, body_below, level_field
from mirrorprep.progress import SILENT, Progress
from mirrorprep.solid.certify import certify
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import frame_along
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Guide:
    """A strip or pad that the parting surface must follow, in the pull frame.

    Attributes
    ----------
    start_mm, stop_mm : (3,) float64
        Ends of a channel's axis, which the surface then holds. Equal for a pad; a pad whose height is NaN
        takes the height that suits the surface.
    half_width_mm : float
        Half the width of the strip, or the radius of the pad, over which the surface is straight.
    """

    start_mm: FloatArray
    stop_mm: FloatArray
    half_width_mm: float

    @classmethod
    def channel(cls, start_mm: ArrayLike, stop_mm: ArrayLike, half_width_mm: float) -> "Guide":
        """Return the guide for a channel whose axis runs from one point to another (u, v, z)."""
        return cls(
            start_mm=np.array(start_mm, dtype=np.float64),
            stop_mm=np.array(stop_mm, dtype=np.float64),
            half_width_mm=float(half_width_mm),
        )

    @classmethod
    def pad(cls, center_uv: ArrayLike, radius_mm: float) -> "Guide":
        """Return the guide for a level pad, as a register key needs it."""
        point = np.append(np.asarray(center_uv, dtype=np.float64), np.nan)
        return cls(start_mm=point, stop_mm=point, half_width_mm=float(radius_mm))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PartingSurface:
    """The surface between the halves, a height field over the plane across the pull direction.

    Attributes
    ----------
    kind : str
        ``plane`` or ``contour``.
    pull_direction : (3,) float64
        Unit vector in the part's own coordinates; half_a moves along it, half_b against it.
    frame : (3, 3) float64
        Rotation with the columns u, v and pull; ``p_pull = frame.T @ p``.
    trapped_mm3, bound_mm3 : float
        What two rigid halves trap, and the least that any parting surface along this pull could trap.
    outline : tuple of (n, 3) float64
        The parting line on the part, closed polylines in the part's coordinates.
    field : HeightField
        Heights in the pull frame.
    """

    kind: str
    pull_direction: FloatArray
    frame: FloatArray
    trapped_mm3: float
    bound_mm3: float
    outline: tuple[FloatArray, ...]
    field: HeightField

    def height_mm(self, uv: ArrayLike) -> FloatArray:
        """Return the surface's height in the pull frame over (n, 2) points."""
        return self.field.at(uv)

    def solid_below(self, low_uv: ArrayLike, high_uv: ArrayLike, z_floor: float) -> Solid:
        """Return everything below the surface within a rectangle, down to a floor, in the pull frame."""
        low, high = np.asarray(low_uv, dtype=np.float64), np.asarray(high_uv, dtype=np.float64)
        field = level_field(low, high, float(self.field.height_mm[0]))
        if z_floor >= field.height_mm.min():
            raise UsageError("The floor does not lie below the parting surface.", remedy="Lower the floor.")
        vertices, faces = body_below(field, z_floor)
        return certify(ScanMesh(vertices=vertices, faces=faces))


def find_parting(
    part: Solid,
    *,
    pull_direction: ArrayLike | None = None,
    kind: str = "auto",
    margin_mm: float,
    guides: Sequence[Guide] = (),
    progress: Progress = SILENT,
) -> PartingSurface:
    """Return the parting surface of a part."""
    if part.is_empty:
        raise NoPartingError("The part is empty.", remedy="Give a solid part.")
    if kind not in {"auto", "plane", "contour"}:
        raise UsageError(f"'{kind}' is no kind of parting.", remedy="Use auto, plane or contour.")
    pull = np.array([0.0, 0.0, 1.0] if pull_direction is None else pull_direction, dtype=np.float64)
    pull = pull / np.linalg.norm(pull)
    frame = frame_along(pull)
    points = part.mesh.vertices @ frame
    low, high = points.min(axis=0), points.max(axis=0)
    level = float((low[2] + high[2]) / 2)
    progress.step("parting surface", 1.0)
    return PartingSurface(
        kind="plane",
        pull_direction=pull,
        frame=frame,
        trapped_mm3=float("nan"),
        bound_mm3=float("nan"),
        outline=(),
        field=level_field(low[:2] - margin_mm, high[:2] + margin_mm, level),
    )
