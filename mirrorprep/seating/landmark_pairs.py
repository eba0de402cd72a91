"""Landmarks that join two scans: reading them, pairing them, and the placement they give.

A file holds one point a line, ``midline``, ``left`` or ``right``, a name, and three coordinates in mm of its
scan; ``#`` starts a comment::

    midline  nasion       1.5   85.1  -34.8
    right    exocanthion 44.2   70.3  -12.0

When the donor is mirrored, its right points belong to the left points of the recipient.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.errors import GeometryError, InputFileError
from mirrorprep.geometry.rigid_fit import RigidFit, moved, rigid_fit
from mirrorprep.geometry.signed_distance import DistanceField
from mirrorprep.solid.finding import Finding, Severity

FloatArray = NDArray[np.float64]
SidedPoints = dict[tuple[str, str], tuple[float, float, float]]

SIDES: Final = ("midline", "left", "right")
LEAST_PAIRS: Final = 3
LEAST_SPREAD_MM: Final = 3.0
MISFIT_MM: Final = 5.0
CLEARLY_BETTER: Final = 0.5
FACING_BETTER: Final = 0.15
_OTHER: Final = {"left": "right", "right": "left", "midline": "midline"}
_SIDES_REMEDY: Final = "Left and right are those of the person, not of the viewer; correct one of the files."
_REMEDY: Final = "Write lines such as 'midline nasion 1.5 85.1 -34.8' or 'right tragion 84.4 -28.5 -41.3'."


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class LandmarkPairs:
    """Points of the donor scan and the points of the recipient scan that they come to lie on.

    Attributes
    ----------
    names : tuple of str
        One for each pair.
    donor_mm, recipient_mm : (n, 3) float64
        Positions, each in its own scan's coordinates.
    """

    names: tuple[str, ...]
    donor_mm: FloatArray
    recipient_mm: FloatArray


def read_sided_points(path: str | Path) -> SidedPoints:
    """Read the landmarks of one scan (see the top of this module).

    Raises
    ------
    InputFileError
        If the file cannot be read or understood; the message names the line.
    """
    path = Path(path)
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise InputFileError(
            f"The landmark file '{path.name}' cannot be read: {error}.", remedy=_REMEDY
        ) from error
    points: SidedPoints = {}
    for number, line in enumerate(lines, start=1):
        words = line.split("#")[0].split()
        if not words:
            continue
        key, point = _parsed(words)
        if key is None or not np.isfinite(point).all():
            raise InputFileError(
                f"Line {number} of the landmark file '{path.name}' is '{line.strip()}'.", remedy=_REMEDY
            )
        if key in points:
            raise InputFileError(
                f"Line {number} of the landmark file '{path.name}' repeats '{' '.join(key)}'.",
                remedy="Give each landmark once.",
            )
        points[key] = point
    return points


def _parsed(words: list[str]) -> tuple[tuple[str, str] | None, tuple[float, float, float]]:
    nothing = (float("nan"),) * 3
    if len(words) != 5 or words[0] not in SIDES:
        return None, nothing
    try:
        x, y, z = (float(word) for word in words[2:])
    except ValueError:
        return None, nothing
    return (words[0], words[1]), (x, y, z)


def pair_landmarks(donor: SidedPoints, recipient: SidedPoints, *, mirrored: bool = True) -> LandmarkPairs:
    """Return the pairs of the landmarks that both scans have; others are left out.

    Parameters
    ----------
    donor, recipient : dict of (side, name) to point
        From `read_sided_points`.
    mirrored : bool
        Pair the donor's right points with the recipient's left ones and the other way round.

    Raises
    ------
    GeometryError
        If there are fewer than three pairs, or most landmarks beside the midline have a partner on the
        wrong side only.

    Examples
    --------
    >>> left = {("left", "a"): (0, 0, 0), ("left", "b"): (1, 0, 0), ("midline", "c"): (0, 1, 0)}
    >>> right = {("right", "a"): (0, 0, 0), ("right", "b"): (-1, 0, 0), ("midline", "c"): (0, 1, 0)}
    >>> pair_landmarks(left, right).names
    ('left a', 'left b', 'midline c')
    """
    keys = [key for key in donor if _partner(key, mirrored) in recipient]
    lone = [key for key in donor if key not in keys and _partner(key, not mirrored) in recipient]
    if len(lone) > sum(side != "midline" for side, _ in keys):
        does, should = ("same", "other") if mirrored else ("other", "same")
        raise GeometryError(
            f"Left and right of the landmarks are exchanged: {len(lone)} of the donor, such as "
            f"'{' '.join(lone[0])}', have a partner on the {does} side of the recipient and none on the "
            f"{should} one.",
            remedy=_SIDES_REMEDY,
        )
    if len(keys) < LEAST_PAIRS:
        raise GeometryError(
            f"{len(keys)} landmarks of the donor have a partner on the recipient, not at least "
            f"{LEAST_PAIRS}.",
            remedy="Mark the same named points on both scans; with mirroring, a right point of the donor "
            "belongs to the left point of the recipient.",
        )
    return LandmarkPairs(
        names=tuple(" ".join(key) for key in keys),
        donor_mm=np.array([donor[key] for key in keys], dtype=np.float64),
        recipient_mm=np.array([recipient[_partner(key, mirrored)] for key in keys], dtype=np.float64),
    )


def _partner(key: tuple[str, str], mirrored: bool) -> tuple[str, str]:  # noqa: FBT001
    return (_OTHER[key[0]] if mirrored else key[0], key[1])


def placed_by_landmarks(
    pairs: LandmarkPairs, donor: DistanceField, recipient: DistanceField, *, mirrored: bool = True
) -> tuple[RigidFit, tuple[Finding, ...]]:
    """Return the least-squares placement of the donor on the recipient, and landmarks that fit badly.

    Parameters
    ----------
    pairs : LandmarkPairs
        At least three, not in a row.
    donor, recipient : DistanceField
        The scans' surfaces: which way the skin faces at the landmarks tells left from right where their
        positions do not, as when there are three.
    mirrored : bool
        Whether the placement contains a reflection.

    Raises
    ------
    GeometryError
        If the landmarks lie in a row, or left and right were exchanged.
    """
    fit = rigid_fit(pairs.donor_mm, pairs.recipient_mm, mirrored=mirrored)
    if fit.spread_mm[1] < LEAST_SPREAD_MM:
        raise GeometryError(
            f"The landmarks lie in a row: they spread {fit.spread_mm[1]:.1f} mm across it "
            f"(limit {LEAST_SPREAD_MM:g} mm).",
            remedy="Add a landmark away from the others.",
        )
    other = rigid_fit(pairs.donor_mm, pairs.recipient_mm, mirrored=not mirrored)
    exchanged = fit.rms_mm > MISFIT_MM and other.rms_mm < CLEARLY_BETTER * fit.rms_mm
    facing, otherwise = (_facing(pairs, one, donor, recipient) for one in (fit, other))
    better = otherwise - facing > FACING_BETTER and other.rms_mm < fit.rms_mm + MISFIT_MM
    if exchanged or better:
        done, undone = ("mirrored", "unmirrored") if mirrored else ("unmirrored", "mirrored")
        why = (
            f"the donor fits to {fit.rms_mm:.1f} mm when {done}, to {other.rms_mm:.1f} mm when {undone}"
            if exchanged
            else f"the donor's skin faces as the recipient's only when {undone}"
        )
        raise GeometryError(
            f"Left and right of the landmarks are exchanged: {why}.",
            remedy=_SIDES_REMEDY,
        )
    return fit, tuple(_misfits(pairs, fit))


def _facing(pairs: LandmarkPairs, fit: RigidFit, donor: DistanceField, recipient: DistanceField) -> float:
    """Return the mean agreement of the skins' normals at the landmarks, −1 to 1."""
    turned = donor.at(pairs.donor_mm).normals @ fit.matrix[:3, :3].T
    across = recipient.at(pairs.recipient_mm).normals
    return float(np.einsum("ij,ij->i", turned, across).mean())


def _misfits(pairs: LandmarkPairs, fit: RigidFit) -> list[Finding]:
    places = moved(pairs.donor_mm, fit.matrix)
    return [
        Finding(
            code="landmark-misfit",
            severity=Severity.CAUTION,
            message=f"Landmark '{name}' misses its partner by {miss:.1f} mm (limit {MISFIT_MM:g} mm).",
            where=((float(place[0]), float(place[1]), float(place[2])),),
            measured=float(miss),
            limit=MISFIT_MM,
            remedy="Look whether it was placed on the same spot of both scans.",
        )
        for name, miss, place in zip(pairs.names, fit.residual_mm, places, strict=True)
        if miss > MISFIT_MM
    ]
