"""Proof of a mould, independent of how it was built: it closes, it is tight, and it opens.

Works on any two halves and their casting, so also on solids that were read back from files.
"""

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.geometry.mass_properties import area_mm2
from mirrorprep.geometry.self_intersection import meeting_pairs
from mirrorprep.geometry.weld import weld_exact
from mirrorprep.progress import SILENT, Progress
from mirrorprep.solid.certify import examine
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.rounding import welded_faults
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]

HALF_NAMES = ("half_a", "half_b")

OPENING_STEPS_MM = (0.02, 0.5, 2.0, 8.0, 24.0, 64.0)
"""How far the halves are moved along their pulls."""

LIFT_MM = 1e-4
"""The closed mould is examined with each half this far off its seat: surfaces that touch then do not
coincide, and an overlap remains one."""

RELEASE_LIMIT = 1e-4
"""Greatest opening interference, as a share of the casting's volume."""

IDENTITY_LIMIT = 1e-12
"""Greatest relative error of halves + casting + hollows against the outer body."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HalfProof:
    """What was found on one half.

    Attributes
    ----------
    name : str
        ``half_a`` or ``half_b``.
    solid : bool
        Closed, every edge shared by two triangles that run opposite ways, by index, and positive volume.
    welded_bad_edges, welded_degenerate_faces : int
        After rounding to 32 bits and merging equal positions, as an STL reader does: edges not shared by two
        triangles, and triangles that lost their area.
    crossing_pairs : int
        Pairs of triangles that meet beside their common corners after rounding to 32 bits; pairs that both
        lie on the casting's own surface are not looked at.
    pieces : int
        Disconnected pieces; 1 is right.
    volume_mm3 : float
        Volume.
    triangles : int
        Number of triangles.
    casting_overlap_mm3 : float
        Volume shared with the casting when closed.
    """

    name: str
    solid: bool
    welded_bad_edges: int
    welded_degenerate_faces: int
    crossing_pairs: int
    pieces: int
    volume_mm3: float
    triangles: int
    casting_overlap_mm3: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OpeningStep:
    """Volumes in the way when the halves have been moved.

    Attributes
    ----------
    distance_mm : float
        How far each half was moved along its pull, or the halves from each other.
    half_a_mm3, half_b_mm3 : float
        Volume that each half shares with the casting.
    between_mm3 : float
        Volume that the halves share, moved apart by the distance (keys).
    """

    distance_mm: float
    half_a_mm3: float
    half_b_mm3: float
    between_mm3: float

    @property
    def held_mm3(self) -> float:
        """The larger of what the halves share with the casting."""
        return max(self.half_a_mm3, self.half_b_mm3)


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """The verdict on a mould.

    Attributes
    ----------
    halves : tuple of HalfProof
        One per half.
    halves_overlap_mm3 : float
        Volume that the halves share when closed.
    opening : tuple of OpeningStep
        One per distance.
    release_interference_mm3 : float
        The largest volume in the way on the way out.
    release_limit_mm3 : float
        What it may be.
    identity_error : float or None
        |halves + casting + hollows − outer| / outer; None when the outer volume was not given.
    findings : tuple of Finding
        Whatever does not hold.
    """

    halves: tuple[HalfProof, ...]
    halves_overlap_mm3: float
    opening: tuple[OpeningStep, ...]
    release_interference_mm3: float
    release_limit_mm3: float
    identity_error: float | None
    findings: tuple[Finding, ...]

    @property
    def releases(self) -> bool:
        """True when the halves come off a rigid casting."""
        return self.release_interference_mm3 <= self.release_limit_mm3

    @property
    def sound(self) -> bool:
        """True when everything holds, apart from the release of an undercut casting."""
        return all(finding.code == "opening-interference" for finding in self.findings)

    @property
    def holds(self) -> bool:
        """True when nothing speaks against using the mould; a flexible casting may be held and give way."""
        return all(finding.severity is not Severity.STOP for finding in self.findings)

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        return {
            "holds": self.holds,
            "releases": self.releases,
            "halves": [asdict(half) for half in self.halves],
            "halves_overlap_mm3": self.halves_overlap_mm3,
            "opening": [asdict(step) for step in self.opening],
            "release_interference_mm3": self.release_interference_mm3,
            "release_limit_mm3": self.release_limit_mm3,
            "identity_error": self.identity_error,
            "findings": [finding.as_dict() for finding in self.findings],
        }


def prove(
    halves: Sequence[Solid],
    casting: Solid,
    pull_direction: ArrayLike,
    *,
    hollows_mm3: float = 0.0,
    outer_mm3: float | None = None,
    flexible: bool = False,
    progress: Progress = SILENT,
) -> Proof:
    """Prove that two halves close around a casting without overlap and come off it.

    Parameters
    ----------
    halves : (half_a, half_b)
        In assembled position; half_a is moved along the pull, half_b against it.
    casting : Solid
        The part with everything that hardens in the channels.
    pull_direction : (3,) array_like
        Opening direction.
    hollows_mm3 : float
        Volume of bores, clearances and other space inside the outer body that is neither mould nor casting.
    outer_mm3 : float, optional
        Volume of the outer body; the volume identity is checked when it is given.
    flexible : bool
        The casting gives way: what is in its way is then a caution, not a stop.
    progress : Progress
        Told about each opening step.

    Returns
    -------
    Proof
        With a finding for everything that does not hold.

    Notes
    -----
    Every figure is a volume of an exact boolean intersection. Overlaps of the closed mould are measured a
    ten-thousandth of a millimetre off the seat, and are allowed the rounding of 32-bit coordinates over the
    touching surfaces, because the halves may come from files.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box, sphere
    >>> ball = sphere(10.0)
    >>> upper, lower = (box([30, 30, 30]) - ball).split_by_plane([0, 0, 1], 0.0)
    >>> prove((upper, lower), ball, [0, 0, 1], outer_mm3=27000.0).holds
    True
    >>> prove((upper, lower), ball, [1, 0, 0]).releases
    False
    """
    pull = np.asarray(pull_direction, dtype=np.float64)
    pull = pull / np.linalg.norm(pull)
    opening = []
    for number, distance in enumerate(OPENING_STEPS_MM):
        progress.step("opening the mould", number / len(OPENING_STEPS_MM))
        opening.append(_opening_step(halves, casting, pull, distance))
    closed = _closed(_opening_step(halves, casting, pull, LIFT_MM), opening[0])
    shared = (closed.half_a_mm3, closed.half_b_mm3)
    proof = Proof(
        halves=_examined(halves, casting, shared),
        halves_overlap_mm3=closed.between_mm3,
        opening=tuple(opening),
        release_interference_mm3=max(max(step.held_mm3, step.between_mm3) for step in opening),
        release_limit_mm3=RELEASE_LIMIT * casting.volume_mm3,
        identity_error=_identity_error([*halves, casting], hollows_mm3, outer_mm3),
        findings=(),
    )
    contact = _contact_limit(halves, casting)
    found = (
        *_half_findings(proof.halves, contact),
        *_fit_findings(proof, contact),
        *_release_findings(proof, flexible=flexible),
    )
    return replace(proof, findings=found)


def _identity_error(bodies: Sequence[Solid], hollows_mm3: float, outer_mm3: float | None) -> float | None:
    if outer_mm3 is None:
        return None
    return abs(sum(body.volume_mm3 for body in bodies) + hollows_mm3 - outer_mm3) / outer_mm3


def _closed(lifted: OpeningStep, next_step: OpeningStep) -> OpeningStep:
    """Return the overlaps of the closed mould: those just off the seat, less what opening that far adds."""
    share = lifted.distance_mm / next_step.distance_mm
    return OpeningStep(
        distance_mm=0.0,
        half_a_mm3=max(lifted.half_a_mm3 - share * next_step.half_a_mm3, 0.0),
        half_b_mm3=max(lifted.half_b_mm3 - share * next_step.half_b_mm3, 0.0),
        between_mm3=max(lifted.between_mm3 - share * next_step.between_mm3, 0.0),
    )


def crossing_pairs(half: Solid, casting: Solid) -> int:
    """Return how many pairs of a half's triangles meet beside their common corners once rounded to 32 bits.

    Pairs of triangles that both lie on the casting's surface are the part's own and are left aside.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box, sphere
    >>> ball = sphere(10.0)
    >>> crossing_pairs(box([30, 30, 30]) - ball, ball)
    0
    """
    own, vertices = casting.mesh.vertices.astype(np.float32), half.mesh.vertices.astype(np.float32)
    label = weld_exact(np.concatenate([own, vertices])).label
    on_casting = np.isin(label[len(own) :], label[: len(own)])
    faces = half.mesh.faces
    among = ~on_casting[faces].all(axis=1)
    return len(meeting_pairs(vertices.astype(np.float64), faces, among=np.asarray(among)).all)


def _examined(halves: Sequence[Solid], casting: Solid, shared_mm3: Sequence[float]) -> tuple[HalfProof, ...]:
    with ThreadPoolExecutor(2) as pool:
        return tuple(pool.map(_examine_half, HALF_NAMES, halves, (casting, casting), shared_mm3))


def _examine_half(name: str, half: Solid, casting: Solid, shared_mm3: float) -> HalfProof:
    bad_edges, flat_faces = welded_faults(half.mesh)
    return HalfProof(
        name=name,
        solid=examine(half.mesh).solid,
        welded_bad_edges=bad_edges,
        welded_degenerate_faces=flat_faces,
        crossing_pairs=crossing_pairs(half, casting),
        pieces=len(half.fragments()),
        volume_mm3=half.volume_mm3,
        triangles=len(half.mesh.faces),
        casting_overlap_mm3=shared_mm3,
    )


def _opening_step(halves: Sequence[Solid], casting: Solid, pull: FloatArray, distance: float) -> OpeningStep:
    upper, lower = halves
    moved = upper.translated(distance * pull)
    return OpeningStep(
        distance_mm=distance,
        half_a_mm3=abs((moved & casting).volume_mm3),
        half_b_mm3=abs((lower.translated(-distance * pull) & casting).volume_mm3),
        between_mm3=abs((moved & lower).volume_mm3),
    )


def _contact_limit(halves: Sequence[Solid], casting: Solid) -> float:
    """Return the overlap that rounding coordinates to 32 bits can cause over the touching surfaces."""
    reach = max(float(np.abs(half.bounds_mm).max()) for half in halves)
    areas = [area_mm2(body.mesh.vertices, body.mesh.faces) for body in (casting, *halves)]
    return float(np.spacing(np.float32(reach))) * (areas[0] + min(areas[1:]))


def _half_findings(halves: Sequence[HalfProof], limit: float) -> list[Finding]:
    found = []
    for half in halves:
        if not half.solid:
            found.append(_stop("half-not-solid", f"{half.name} is not a closed solid.", 0.0, 0.0))
        if half.welded_bad_edges or half.welded_degenerate_faces:
            message = (
                f"{half.name} has {half.welded_bad_edges} bad edges and {half.welded_degenerate_faces} "
                "triangles without area once it is written with 32 bits (limit 0)."
            )
            faults = half.welded_bad_edges + half.welded_degenerate_faces
            found.append(_stop("half-pinches", message, float(faults), 0.0))
        if half.crossing_pairs:
            message = (
                f"{half.crossing_pairs} pairs of triangles of {half.name} cross once it is written with "
                "32 bits (limit 0)."
            )
            found.append(_stop("half-crosses-itself", message, float(half.crossing_pairs), 0.0))
        if half.pieces != 1:
            message = f"{half.name} consists of {half.pieces} pieces (1 is right)."
            found.append(_stop("half-in-pieces", message, float(half.pieces), 1.0))
        if half.casting_overlap_mm3 > limit:
            message = (
                f"{half.name} shares {half.casting_overlap_mm3:.3g} mm³ with the casting (limit {limit:.3g})."
            )
            found.append(_stop("half-in-casting", message, half.casting_overlap_mm3, limit))
    return found


def _fit_findings(proof: Proof, limit: float) -> list[Finding]:
    found = []
    overlap, identity = proof.halves_overlap_mm3, proof.identity_error
    if overlap > limit:
        message = f"The closed halves share {overlap:.3g} mm³ (limit {limit:.3g})."
        found.append(_stop("halves-overlap", message, overlap, limit))
    if identity is not None and identity > IDENTITY_LIMIT:
        message = (
            f"Halves, casting and hollows differ from the outer body by {identity:.2g} of its volume "
            f"(limit {IDENTITY_LIMIT:g})."
        )
        found.append(_stop("volume-identity", message, identity, IDENTITY_LIMIT))
    return found


def _release_findings(proof: Proof, *, flexible: bool) -> list[Finding]:
    found = []
    limit = proof.release_limit_mm3
    held = max(step.held_mm3 for step in proof.opening)
    between = max(step.between_mm3 for step in proof.opening)
    if held > limit:
        way = "A flexible casting gives way to" if flexible else "The casting stands in the way with"
        found.append(
            Finding(
                code="opening-interference",
                severity=Severity.CAUTION if flexible else Severity.STOP,
                message=f"{way} {held:.3g} mm³ when the mould is opened (limit {limit:.3g}).",
                measured=held,
                limit=limit,
                remedy="Open the mould slowly and peel the casting out."
                if flexible
                else "Cast a flexible material, choose another pull direction, or divide the part.",
            )
        )
    if between > limit:
        message = f"The halves share {between:.3g} mm³ while they are moved apart (limit {limit:.3g})."
        found.append(_stop("halves-collide", message, between, limit))
    return found


def _stop(code: str, message: str, measured: float, limit: float) -> Finding:
    return Finding(
        code=code,
        severity=Severity.STOP,
        message=message,
        measured=measured,
        limit=limit,
        remedy="Do not print this mould; build it again with other settings.",
    )
