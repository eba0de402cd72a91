"""Printing the halves: how they lie, whether they fit the bed, what overhangs, and pieces if they do not."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass

import numpy as np
from numpy.typing import NDArray

from mirrorprep.errors import NoPartingError
from mirrorprep.mould.register_keys import KEY_DRAFT_DEG, spread_places
from mirrorprep.mould.settings import MouldSettings
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import frame_along, frustum
from mirrorprep.solid.section import level_section
from mirrorprep.solid.solid import Solid, union

FloatArray = NDArray[np.float64]

OVERHANG_DEG = 45.0
"""Steepest overhang from the vertical that prints without support (trade pages)."""

_ON_BED_MM = 0.05
_PIECE_WALL_MM = 1.2
_MOST_PIECE_KEYS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class PrintReport:
    """How one printed body lies on the bed.

    Attributes
    ----------
    size_mm : (float, float, float)
        Extent as it lies.
    fits_bed : bool
        True when it lies within the bed.
    bed_contact_mm2 : float
        Area that touches the bed.
    overhang_mm2, overhang_share : float
        Area that hangs over by more than 45° from the vertical and does not touch the bed, and its share of
        the whole surface: it wants support, or a printing process that needs none.
    """

    size_mm: tuple[float, float, float]
    fits_bed: bool
    bed_contact_mm2: float
    overhang_mm2: float
    overhang_share: float

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        return asdict(self)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Piece:
    """A part of a half that is too large for the bed.

    Attributes
    ----------
    name : str
        Such as ``half_a_1``.
    solid : Solid
        In assembled position, in the part's coordinates.
    print_pose : (4, 4) float64
        Lays it on the bed.
    """

    name: str
    solid: Solid
    print_pose: FloatArray


def print_pose(solid: Solid, axes: FloatArray, bed_mm: Sequence[float]) -> FloatArray:
    """Return the 4 × 4 matrix that lays a half on the bed, in the positive octant.

    Parameters
    ----------
    solid : Solid
        In the part's coordinates.
    axes : (3, 3) float64
        A rotation: its columns become x, y and up. When only that fits the bed, x and y are turned by 90°.
    bed_mm : (3,)
        Room of the printer.
    """
    size = np.ptp(solid.mesh.vertices @ axes, axis=0)
    turned = (size[0] > bed_mm[0] or size[1] > bed_mm[1]) and size[1] <= bed_mm[0] and size[0] <= bed_mm[1]
    if turned:
        axes = np.column_stack([-axes[:, 1], axes[:, 0], axes[:, 2]])
    matrix = np.eye(4)
    matrix[:3, :3] = axes.T
    matrix[:3, 3] = -(solid.mesh.vertices @ axes).min(axis=0)
    return matrix


def print_report(mesh: ScanMesh, pose: FloatArray, bed_mm: Sequence[float]) -> PrintReport:
    """Return how a body lies on the bed.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> report = print_report(box([10, 20, 5], center_mm=[5, 10, 2.5]).mesh, np.eye(4), (220, 220, 250))
    >>> report.fits_bed, report.bed_contact_mm2, report.overhang_mm2
    (True, 200.0, 0.0)
    """
    corners = (mesh.vertices @ pose[:3, :3].T + pose[:3, 3])[mesh.faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]) / 2.0
    area = np.linalg.norm(normal, axis=1)
    on_bed = corners[:, :, 2].max(axis=1) < _ON_BED_MM
    down = -normal[:, 2] > np.sin(np.radians(OVERHANG_DEG)) * area * (1.0 + 1e-9)
    over = float(area[down & ~on_bed].sum())
    size = corners.reshape(-1, 3).max(axis=0)
    return PrintReport(
        size_mm=(float(size[0]), float(size[1]), float(size[2])),
        fits_bed=bool((size <= np.asarray(bed_mm) + 1e-6).all()),
        bed_contact_mm2=float(area[on_bed & (normal[:, 2] < 0.0)].sum()),
        overhang_mm2=over,
        overhang_share=over / float(area.sum()),
    )


def pieces_for_bed(name: str, half: Solid, pose: FloatArray, settings: MouldSettings) -> tuple[Piece, ...]:
    """Return a half divided by upright planes so that its pieces fit the bed, with keys between them.

    Parameters
    ----------
    name : str
        Of the half.
    half : Solid
        In the part's coordinates.
    pose : (4, 4) float64
        How it would lie on the bed.
    settings : MouldSettings
        Bed, clearance, size of the keys.

    Returns
    -------
    tuple of Piece
        Empty when the half fits as it is.

    Raises
    ------
    NoPartingError
        If the half is too high for the printer.
    """
    laid = half.transformed(pose)
    size, bed = laid.bounds_mm[1], np.asarray(settings.bed_mm)
    if (size <= bed + 1e-6).all():
        return ()
    if size[2] > bed[2]:
        raise NoPartingError(
            f"{name} stands {size[2]:.0f} mm high; the printer has {bed[2]:.0f} mm.",
            remedy="Use a larger printer, or a shell instead of a block.",
        )
    usable = bed[:2] - 2.0 * _reach_mm(settings)
    if (usable <= 0.0).any():
        raise NoPartingError(
            f"The bed of {bed[0]:.0f} by {bed[1]:.0f} mm is too small for pieces with keys.",
            remedy="Use a larger printer or smaller keys.",
        )
    pieces = [laid]
    for axis in (0, 1):
        count = int(np.ceil(size[axis] / usable[axis])) if size[axis] > bed[axis] else 1
        cuts = size[axis] * np.arange(1, count) / count
        pieces = [part for piece in pieces for part in _divided(piece, axis, cuts, settings)]
    back = np.linalg.inv(pose)
    return tuple(
        Piece(
            name=f"{name}_{number}",
            solid=piece.transformed(back),
            print_pose=_moved(pose, -piece.bounds_mm[0]),
        )
        for number, piece in enumerate(pieces, start=1)
    )


def _reach_mm(settings: MouldSettings) -> float:
    """Return how far a key stands out of a piece."""
    return settings.key_height_mm + 0.5


def _moved(pose: FloatArray, shift: FloatArray) -> FloatArray:
    moved = pose.copy()
    moved[:3, 3] += shift
    return moved


def _divided(body: Solid, axis: int, cuts: FloatArray, settings: MouldSettings) -> list[Solid]:
    parts: list[Solid] = []
    rest = body
    normal = np.eye(3)[axis]
    for cut in cuts:
        above, below = rest.split_by_plane(normal, float(cut))
        if above.is_empty or below.is_empty:
            continue
        males, females = _piece_keys(rest, axis, float(cut), settings)
        if males:
            below, above = below + union(males), above - union(females)
        parts.append(below)
        rest = above
    return [*parts, rest]


def _piece_keys(
    body: Solid, axis: int, cut: float, settings: MouldSettings
) -> tuple[list[Solid], list[Solid]]:
    """Return keys and sockets along an axis, where the cut and what lies behind it are thick enough."""
    frame = frame_along(np.eye(3)[axis])
    turn = np.eye(4)
    turn[:3, :3] = frame.T
    upright = body.transformed(turn)
    height, gap, radius = settings.key_height_mm, settings.key_gap_mm, settings.key_diameter_mm / 2.0
    room = level_section(upright, cut)
    for level in np.linspace(-2.0, height + gap + _PIECE_WALL_MM, 6):
        room = room & level_section(upright, cut + float(level))
    room = room.offset(-(radius + gap + _PIECE_WALL_MM))
    places = spread_places(room, _MOST_PIECE_KEYS, apart_mm=2.0 * (radius + gap) + _PIECE_WALL_MM)
    taper = float(np.tan(np.radians(KEY_DRAFT_DEG)))
    made: tuple[list[Solid], list[Solid]] = ([], [])
    for place in places:
        for grown, bodies in zip((0.0, gap), made, strict=True):
            top = height + grown
            key = frustum(
                (place[0], place[1], cut - 1.0),
                (place[0], place[1], cut + top),
                start_radius_mm=radius + grown + taper,
                stop_radius_mm=radius + grown - taper * top,
            )
            bodies.append(key.transformed(turn.T))
    return made
