"""Pieces: a half that is too large for the bed, divided by upright planes with keys between the pieces."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace

import numpy as np
from numpy.typing import NDArray

from mirrorprep.errors import NoPartingError
from mirrorprep.geometry.mass_properties import area_mm2
from mirrorprep.mould.assembly import finished
from mirrorprep.mould.printing import PrintReport, print_report
from mirrorprep.mould.register_keys import KEY_DRAFT_DEG, spread_places
from mirrorprep.mould.settings import MouldSettings
from mirrorprep.solid.certify import examine
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.primitives import frame_along, frustum
from mirrorprep.solid.rounding import welded_faults
from mirrorprep.solid.section import level_section
from mirrorprep.solid.solid import Solid, union

FloatArray = NDArray[np.float64]

MOST_PIECES = 16
"""Pieces of one half beyond which a larger printer is the better way."""

PIECES_LIMIT = 1e-9
"""Greatest relative error of pieces and clearances against their half: each cut and key adds its rounding."""

_PIECE_WALL_MM = 1.2
_MOST_KEYS = 4
_CRUMB_MM3 = 1e-3


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
    printing : PrintReport or None
        How it lies there, when it was built here.
    """

    name: str
    solid: Solid
    print_pose: FloatArray
    printing: PrintReport | None = None


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Division:
    """A half in pieces; none when it fits the bed as it is.

    Attributes
    ----------
    pieces : tuple of Piece
        What to print instead of the half.
    gaps_mm3 : float
        Clearance around the keys: the volume of the half that no piece takes.
    cuts, keyless_cuts : int
        Planes that divide pieces, and those of them that found no room for a key.
    """

    pieces: tuple[Piece, ...] = ()
    gaps_mm3: float = 0.0
    cuts: int = 0
    keyless_cuts: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class PiecesProof:
    """What was found on the pieces of one half.

    Attributes
    ----------
    half : str
        The half that they make up.
    pieces : tuple of str
        Their names.
    sound : tuple of bool
        For each: closed, right side out, and still closed once rounded to 32 bits and welded.
    fits_bed : tuple of bool
        For each, as it lies.
    overlap_mm3 : float
        The largest volume that two of them share when joined.
    identity_error : float
        |pieces + clearance of the keys − half| / half.
    findings : tuple of Finding
        Whatever does not hold.
    """

    half: str
    pieces: tuple[str, ...]
    sound: tuple[bool, ...]
    fits_bed: tuple[bool, ...]
    overlap_mm3: float
    identity_error: float
    findings: tuple[Finding, ...]

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        return {**asdict(self), "findings": [finding.as_dict() for finding in self.findings]}


def divide_for_bed(
    name: str, half: Solid, pose: FloatArray, settings: MouldSettings, *, cavity: Solid | None = None
) -> Division:
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
    cavity : Solid, optional
        The part; its vertices stay where they are.

    Returns
    -------
    Division
        Without pieces when the half fits as it is.

    Raises
    ------
    NoPartingError
        If the half is too high for the printer, or would come in more than `MOST_PIECES`.
    """
    laid = half.transformed(pose)
    size, bed = laid.bounds_mm[1], np.asarray(settings.bed_mm)
    if (size <= bed + 1e-6).all():
        return Division()
    work = _Work(settings)
    bodies = work.cut([laid], _counts(name, size, bed, settings))
    back = np.linalg.inv(pose)
    pieces = []
    for number, body in enumerate(bodies, start=1):
        solid = body.transformed(back)
        solid = finished(solid, half if cavity is None else cavity, np.eye(3)).solid
        moved = pose.copy()
        moved[:3, 3] -= body.bounds_mm[0]
        report = print_report(solid.mesh, moved, settings.bed_mm)
        pieces.append(Piece(name=f"{name}_{number}", solid=solid, print_pose=moved, printing=report))
    return Division(
        pieces=tuple(pieces), gaps_mm3=work.gaps_mm3, cuts=work.cuts, keyless_cuts=work.keyless_cuts
    )


def prove_pieces(
    half: Solid,
    pieces: Sequence[Piece],
    *,
    gaps_mm3: float,
    bed_mm: Sequence[float],
    limit: float = PIECES_LIMIT,
) -> PiecesProof:
    """Prove that pieces are solids, fit the bed, do not overlap and make up their half.

    Parameters
    ----------
    half : Solid
        In the same coordinates as the pieces.
    pieces : sequence of Piece
        As built, or as read back from files.
    gaps_mm3 : float
        Clearance of the keys.
    bed_mm : (3,)
        Room of the printer.
    limit : float
        Greatest relative error of the volume identity: 1e-9 as built, the rounding of 32 bits from files.
    """
    name = pieces[0].name.rpartition("_")[0]
    solids = [piece.solid for piece in pieces]
    total = sum(solid.volume_mm3 for solid in solids) + gaps_mm3
    overlap, allowed = _overlap(solids)
    proof = PiecesProof(
        half=name,
        pieces=tuple(piece.name for piece in pieces),
        sound=tuple(examine(s.mesh).solid and welded_faults(s.mesh) == (0, 0) for s in solids),
        fits_bed=tuple(_fits(piece, bed_mm) for piece in pieces),
        overlap_mm3=overlap,
        identity_error=abs(total - half.volume_mm3) / half.volume_mm3,
        findings=(),
    )
    return replace(proof, findings=_findings(proof, allowed, limit))


def division_findings(name: str, division: Division, settings: MouldSettings) -> list[Finding]:
    """Return that a half was divided, and whether any of its cuts has no key."""
    if not division.pieces:
        return []
    bed = " × ".join(f"{length:g}" for length in settings.bed_mm)
    found = [
        Finding(
            code="half-divided",
            severity=Severity.CAUTION,
            message=f"{name} does not fit the bed of {bed} mm and was divided into "
            f"{len(division.pieces)} pieces.",
            measured=float(len(division.pieces)),
            limit=1.0,
            remedy="Join the pieces by their keys and glue them before use.",
        )
    ]
    if division.keyless_cuts:
        found.append(
            Finding(
                code="pieces-without-keys",
                severity=Severity.CAUTION,
                message=f"{division.keyless_cuts} of {division.cuts} cuts through {name} found no room for a "
                "key.",
                measured=float(division.keyless_cuts),
                limit=0.0,
                remedy="Line those pieces up by hand, choose smaller keys, or a larger bed.",
            )
        )
    return found


def refuse_oversize(size_mm: Sequence[float], settings: MouldSettings) -> None:
    """Raise before any work when halves of at least this size would come in too many pieces.

    Raises
    ------
    NoPartingError
        As `divide_for_bed` would, at the end.
    """
    size, bed = np.array([*size_mm, 0.0]), np.asarray(settings.bed_mm)
    turned = size[[1, 0, 2]]
    if (size <= bed).all() or (turned <= bed).all():
        return
    _counts("A half", size, bed, settings)


def _counts(name: str, size: FloatArray, bed: FloatArray, settings: MouldSettings) -> tuple[int, int]:
    """Return into how many pieces a half must be divided along x and y."""
    if size[2] > bed[2]:
        raise NoPartingError(
            f"{name} stands {size[2]:.0f} mm high; the printer has {bed[2]:.0f} mm.",
            remedy="Use a larger printer, or a shell instead of a block.",
        )
    usable = bed[:2] - 2.0 * (settings.key_height_mm + 0.5)
    if (usable <= 0.0).any():
        raise NoPartingError(
            f"The bed of {bed[0]:.0f} by {bed[1]:.0f} mm is too small for pieces with keys.",
            remedy="Use a larger printer or smaller keys.",
        )
    many = np.where(size[:2] > bed[:2] + 1e-6, np.ceil(size[:2] / usable), 1).astype(int)
    if many.prod() > MOST_PIECES:
        raise NoPartingError(
            f"{name} of {size[0]:.0f} by {size[1]:.0f} mm would take {many.prod()} pieces on a bed of "
            f"{bed[0]:.0f} by {bed[1]:.0f} mm (limit {MOST_PIECES}).",
            remedy="Use a larger printer, or check the unit of the scan.",
        )
    return int(many[0]), int(many[1])


class _Work:
    """Cuts bodies and counts what the cuts take."""

    def __init__(self, settings: MouldSettings) -> None:
        self._settings = settings
        self.gaps_mm3 = 0.0
        self.cuts = 0
        self.keyless_cuts = 0

    def cut(self, bodies: list[Solid], counts: tuple[int, int]) -> list[Solid]:
        """Return the bodies cut into equal lengths along x, then along y, each in one fragment."""
        size = bodies[0].bounds_mm[1]
        for axis, count in enumerate(counts):
            places = size[axis] * np.arange(1, count) / count
            bodies = [part for body in bodies for part in self._divided(body, axis, places)]
        pieces = [fragment for body in bodies for fragment in body.fragments()]
        self.gaps_mm3 += sum(piece.volume_mm3 for piece in pieces if piece.volume_mm3 <= _CRUMB_MM3)
        return [piece for piece in pieces if piece.volume_mm3 > _CRUMB_MM3]

    def _divided(self, body: Solid, axis: int, places: FloatArray) -> list[Solid]:
        parts: list[Solid] = []
        rest = body
        for place in places:
            above, below = rest.split_by_plane(np.eye(3)[axis], float(place))
            if above.is_empty or below.is_empty:
                continue
            males, females = _keys(rest, axis, float(place), self._settings)
            self.cuts += 1
            if males:
                key, socket = union(males), union(females)
                self.gaps_mm3 += ((above & socket) - key).volume_mm3
                below, above = below + key, above - socket
            else:
                self.keyless_cuts += 1
            parts.append(below)
            rest = above
        return [*parts, rest]


def _keys(body: Solid, axis: int, cut: float, settings: MouldSettings) -> tuple[list[Solid], list[Solid]]:
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
    places = spread_places(room, _MOST_KEYS, apart_mm=2.0 * (radius + gap) + _PIECE_WALL_MM)
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


def _fits(piece: Piece, bed_mm: Sequence[float]) -> bool:
    low, high = piece.solid.transformed(piece.print_pose).bounds_mm
    room = np.asarray(bed_mm, dtype=np.float64) + 1e-3
    return bool((low >= -1e-3).all() and (high <= room).all())


def _overlap(solids: Sequence[Solid]) -> tuple[float, float]:
    """Return the largest volume that two solids share, and what rounding to 32 bits can cause."""
    shared = [
        (solids[i] & solids[j]).volume_mm3 for i in range(len(solids)) for j in range(i + 1, len(solids))
    ]
    reach = max(float(np.abs(solid.bounds_mm).max()) for solid in solids)
    area = max(area_mm2(solid.mesh.vertices, solid.mesh.faces) for solid in solids)
    return max(shared, default=0.0), float(np.spacing(np.float32(reach))) * area


def _findings(proof: PiecesProof, allowed_mm3: float, limit: float) -> tuple[Finding, ...]:
    faults = []
    for name, sound, fits in zip(proof.pieces, proof.sound, proof.fits_bed, strict=True):
        if not sound:
            faults.append(("piece-not-solid", f"{name} is not a closed solid as a file holds it.", 0.0, 0.0))
        if not fits:
            faults.append(("piece-off-bed", f"{name} does not fit the bed.", 0.0, 0.0))
    if proof.overlap_mm3 > allowed_mm3:
        words = f"Pieces of {proof.half} share {proof.overlap_mm3:.3g} mm³ (limit {allowed_mm3:.3g})."
        faults.append(("pieces-overlap", words, proof.overlap_mm3, allowed_mm3))
    if proof.identity_error > limit:
        words = (
            f"The pieces of {proof.half} and the clearance of their keys differ from it by "
            f"{proof.identity_error:.2g} of its volume (limit {limit:g})."
        )
        faults.append(("pieces-identity", words, proof.identity_error, limit))
    return tuple(
        Finding(
            code=code,
            severity=Severity.STOP,
            message=message,
            measured=measured,
            limit=bound,
            remedy="Do not print these pieces; use a larger bed, or other settings.",
        )
        for code, message, measured, bound in faults
    )
