"""Assembly: the outside split at the parting surface, keyed, bored and emptied of the casting."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.slivers import without_slivers
from mirrorprep.geometry.topology import bodies
from mirrorprep.geometry.weld import weld_exact
from mirrorprep.mould.frame import MouldFrame
from mirrorprep.mould.proof import HALF_NAMES
from mirrorprep.mould.register_keys import RegisterKey
from mirrorprep.solid.certify import certify
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.solid import Solid, difference, union

FloatArray = NDArray[np.float64]

CRUMB_MM3 = 1e-3
"""Pieces below this volume, a cube of 0.1 mm, are not printed: they are left out and listed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Island:
    """A piece of mould material that the cavity cut off from its half.

    Attributes
    ----------
    of_half : str
        The half it belonged to.
    volume_mm3 : float
        Its volume.
    where_mm : (float, float, float)
        Its centroid.
    fate : str
        ``half_a`` or ``half_b``: joined to that half; ``loose``: it touches none and is left out.
    """

    of_half: str
    volume_mm3: float
    where_mm: tuple[float, float, float]
    fate: str


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Assembly:
    """Both halves and the spaces between them.

    Attributes
    ----------
    half_a, half_b : Solid
        The upper and lower half.
    casting : Solid
        Cavity and channels in one.
    channels : Solid
        Sprue, cup and vents without the cavity.
    hollows : tuple of Solid
        Bores, pockets and clearances: space inside the outside that is neither mould nor casting. They do
        not overlap.
    islands : tuple of Island
        Every piece that was cut off.
    """

    half_a: Solid
    half_b: Solid
    casting: Solid
    channels: Solid
    hollows: tuple[Solid, ...]
    islands: tuple[Island, ...]


def assemble(
    outside: Solid,
    cavity: Solid,
    frame: MouldFrame,
    *,
    channels: Sequence[Solid],
    keys: Sequence[RegisterKey],
    tools: Sequence[Solid],
) -> Assembly:
    """Return the two halves.

    Everything light is done first; the cavity, with its many triangles, is cut last and once per half.

    Parameters
    ----------
    outside : Solid
        The envelope, in mould coordinates.
    cavity : Solid
        The part; its triangles become the cavity's, unchanged.
    frame : MouldFrame
        With the parting surface.
    channels : sequence of Solid
        Sprue and vents, reaching out of the outside.
    keys : sequence of RegisterKey
        Keys on half_b, sockets in half_a.
    tools : sequence of Solid
        What else is cut away: bolts, slots, marks.
    """
    low, high = outside.bounds_mm
    below = frame.below(low[:2] - 1.0, high[:2] + 1.0, float(low[2]) - 2.0)
    lower, upper = outside.split(below)
    hollows = []
    if keys:
        males, females = union([key.male for key in keys]), union([key.female for key in keys])
        hollows.append((upper & females) - males)
        lower, upper = lower + males, upper - females
    if tools:
        hollows.append(union(tools) & outside)
    # Tools and runners are cut as they are: trimmed to the outside, their coincident faces would fold.
    away = [*tools, *channels, cavity]
    halves, islands = _joined(difference(upper, away), difference(lower, away))
    runners = union(channels) & outside
    return Assembly(
        half_a=halves[0],
        half_b=halves[1],
        casting=cavity + runners,
        channels=runners - cavity,
        hollows=tuple(hollows),
        islands=tuple(islands),
    )


def _joined(upper: Solid, lower: Solid) -> tuple[tuple[Solid, Solid], list[Island]]:
    """Return the main piece of each half with the islands it could take, and what became of all islands.

    An island may hang on another one, so all are tried again until none joins any more.
    """
    pieces = {name: half.fragments() for name, half in zip(HALF_NAMES, (upper, lower), strict=True)}
    main = {name: found[0] for name, found in pieces.items()}
    waiting = [(name, piece) for name in HALF_NAMES for piece in pieces[name][1:]]
    islands: list[Island] = []
    before = -1
    while len(waiting) != before:
        before, still = len(waiting), []
        for name, piece in waiting:
            fate = _taken(main, name, piece)
            if fate == "loose":
                still.append((name, piece))
            else:
                islands.append(_island(piece, name, fate))
        waiting = still
    islands += [_island(piece, name, "loose") for name, piece in waiting]
    return (main["half_a"], main["half_b"]), islands


def _taken(main: dict[str, Solid], of_half: str, piece: Solid) -> str:
    """Join a piece to the half it touches, the other one first; return which, or ``loose``."""
    if piece.volume_mm3 > CRUMB_MM3:
        for name in sorted(HALF_NAMES, key=lambda name: name == of_half):
            joined = main[name] + piece
            if len(joined.fragments()) == 1:
                main[name] = joined
                return name
    return "loose"


def _island(piece: Solid, of_half: str, fate: str) -> Island:
    u, v, w = piece.mesh.vertices.mean(axis=0).tolist()
    return Island(of_half=of_half, volume_mm3=piece.volume_mm3, where_mm=(u, v, w), fate=fate)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Finished:
    """A half in the part's coordinates, without slivers.

    Attributes
    ----------
    solid : Solid
        Closed by position too, once rounded to 32 bits.
    moved : int
        Vertices of the cavity that had to be moved (by a few units of the last of 32 bits) because the part's
        own surface pinches there.
    flakes : tuple of Solid
        Bits below a crumb's volume that came off with the slivers; they are left out.
    """

    solid: Solid
    moved: int
    flakes: tuple[Solid, ...]

    def islands(self, of_half: str, rotation: FloatArray) -> tuple[Island, ...]:
        """Return the flakes as loose islands, in mould coordinates."""
        return tuple(_island(flake.transformed(_turn(rotation.T)), of_half, "loose") for flake in self.flakes)


def _turn(rotation: FloatArray) -> FloatArray:
    matrix = np.eye(4)
    matrix[:3, :3] = rotation
    return matrix


def finished(solid: Solid, cavity: Solid, rotation: FloatArray) -> Finished:
    """Return a half in the part's coordinates, without slivers; vertices of the cavity stay where they are.

    Parameters
    ----------
    solid, cavity : Solid
        In mould coordinates.
    rotation : (3, 3) float64
        From mould to part coordinates.

    Returns
    -------
    Finished
    """
    mesh, own = solid.mesh, cavity.mesh.vertices
    label = weld_exact(np.vstack([own, mesh.vertices])).label
    fixed = np.zeros(label.max() + 1, dtype=bool)
    fixed[label[: len(own)]] = True
    clean = without_slivers(mesh.vertices @ rotation.T, mesh.faces, fixed=fixed[label[len(own) :]])
    whole = certify(ScanMesh(vertices=clean.vertices, faces=clean.faces))
    main, flakes = _without_flakes(whole)
    return Finished(solid=main, moved=clean.moved_fixed, flakes=flakes)


def _without_flakes(half: Solid) -> tuple[Solid, tuple[Solid, ...]]:
    """Return a half without closed bits that have no volume, which collapsed edges may cut off, and those."""
    if bodies(half.mesh.faces, len(half.mesh.vertices))[0] == 1:
        return half, ()
    main, *bits = half.fragments()
    return (main, tuple(bits)) if all(bit.volume_mm3 <= CRUMB_MM3 for bit in bits) else (half, ())
