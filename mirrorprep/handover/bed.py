"""Places of parts on the bed of a printer: side by side, flat on the bed, in the positive octant."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from mirrorprep.errors import UsageError
from mirrorprep.handover.files import NamedPart
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class BedPlan:
    """Parts with their places.

    Attributes
    ----------
    parts : tuple of NamedPart
        In the given order, each with its placement.
    size_mm : (3,) float64
        Room that all parts take together, the gap around them included.
    findings : tuple of Finding
        ``bed-too-small`` when that is more than the bed has.
    """

    parts: tuple[NamedPart, ...]
    size_mm: FloatArray
    findings: tuple[Finding, ...]


def place_on_bed(parts: Sequence[NamedPart], *, bed_mm: Sequence[float], gap_mm: float = 8.0) -> BedPlan:
    """Place parts on the bed in rows, without overlap.

    Parameters
    ----------
    parts : sequence of NamedPart
        A transform turns the part as it shall lie; its shift is replaced.
    bed_mm : (x, y, z)
        Room of the printer.
    gap_mm : float
        Free space between parts and to the bed's edge.

    Returns
    -------
    BedPlan
        Every part rests on z = 0 with x and y not less than the gap (3MF core specification 1.4, sections
        3.1 and 3.3). Parts that do not fit are placed all the same, and a finding says so.

    Raises
    ------
    UsageError
        If the bed or the gap is not positive.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> halves = [NamedPart(name=n, mesh=box([40, 30, 20])) for n in ("half_a", "half_b")]
    >>> place_on_bed(halves, bed_mm=(220, 220, 250)).size_mm.tolist()
    [104.0, 46.0, 20.0]
    """
    room = np.asarray(bed_mm, dtype=np.float64)
    if room.shape != (3,) or not (room > 0).all() or gap_mm < 0:
        raise UsageError(
            f"A bed of {list(bed_mm)} mm with a gap of {gap_mm:g} mm holds nothing.",
            remedy="Give three positive lengths and a gap of at least 0.",
        )
    boxes = [_box(part) for part in parts]
    sizes = [high - low for low, high in boxes]
    corners, reach = _rows(sizes, float(room[0]), gap_mm)
    placed = tuple(
        replace(part, transform=_moved(part, corner - low))
        for part, corner, (low, _) in zip(parts, corners, boxes, strict=True)
    )
    return BedPlan(parts=placed, size_mm=reach, findings=_findings(reach, room))


def _turned(part: NamedPart) -> FloatArray:
    return np.eye(4) if part.transform is None else np.array(part.transform)


def _moved(part: NamedPart, shift: FloatArray) -> FloatArray:
    matrix = _turned(part)
    matrix[:3, 3] += shift
    return matrix


def _box(part: NamedPart) -> tuple[FloatArray, FloatArray]:
    mesh = part.mesh.mesh if isinstance(part.mesh, Solid) else part.mesh
    matrix = _turned(part)
    points = mesh.vertices @ matrix[:3, :3].T + matrix[:3, 3]
    return points.min(axis=0), points.max(axis=0)


def _rows(sizes: Sequence[FloatArray], width: float, gap: float) -> tuple[list[FloatArray], FloatArray]:
    """Fill rows from the deepest part to the shallowest; return the low corners and the room taken."""
    corners: list[FloatArray] = [np.zeros(3)] * len(sizes)
    x = y = gap
    row = 0.0
    reach = np.zeros(3)
    for index in sorted(range(len(sizes)), key=lambda i: (-float(sizes[i][1]), i)):
        size = sizes[index]
        if x > gap and x + size[0] + gap > width:
            x, y, row = gap, y + row + gap, 0.0
        corners[index] = np.array([x, y, 0.0])
        reach = np.maximum(reach, [x + size[0] + gap, y + size[1] + gap, size[2]])
        x, row = x + float(size[0]) + gap, max(row, float(size[1]))
    return corners, reach


def _findings(reach: FloatArray, room: FloatArray) -> tuple[Finding, ...]:
    over = reach - room
    if (over <= 1e-9).all():
        return ()
    axis = int(np.argmax(over))
    taken = " × ".join(f"{length:.0f}" for length in reach)
    has = " × ".join(f"{length:g}" for length in room)
    return (
        Finding(
            code="bed-too-small",
            severity=Severity.CAUTION,
            message=f"The parts take {taken} mm on a bed of {has} mm.",
            measured=float(reach[axis]),
            limit=float(room[axis]),
            remedy="Print the parts one by one, turn them, or use a larger bed.",
        ),
    )
