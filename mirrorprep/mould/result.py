"""What a finished mould consists of."""

from dataclasses import asdict, dataclass, field

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.air_pockets import AirPocket
from mirrorprep.mould.assembly import Island
from mirrorprep.mould.channels import Channel
from mirrorprep.mould.frame import MouldFrame
from mirrorprep.mould.parting import PartingSurface
from mirrorprep.mould.pieces import Division, Piece, PiecesProof
from mirrorprep.mould.printing import PrintReport
from mirrorprep.mould.proof import Proof
from mirrorprep.mould.register_keys import RegisterKey
from mirrorprep.mould.settings import CASTINGS, MouldSettings
from mirrorprep.mould.standing import Standing
from mirrorprep.mould.undercut_map import UndercutMap, Verdict, verdict
from mirrorprep.solid.finding import Finding
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Half:
    """One half of a mould.

    Attributes
    ----------
    name : str
        ``half_a`` moves along the pull, ``half_b`` against it.
    solid : Solid
        In assembled position, in the part's coordinates.
    volume_mm3 : float
        Volume.
    triangles : int
        Number of triangles.
    print_pose : (4, 4) float64
        Lays it flat on its back on the bed, in the positive octant.
    printing : PrintReport
        How it lies there.
    division : Division
        What to print instead when the half does not fit the bed; without pieces when it does.
    pieces_proof : PiecesProof or None
        Of those pieces as built.
    moved_vertices : int
        Vertices of the cavity that were moved by less than a thousandth of a millimetre, because the part's
        own surface touches itself there and a file of 32-bit numbers would weld it; usually 0.
    """

    name: str
    solid: Solid
    volume_mm3: float
    triangles: int
    print_pose: FloatArray
    printing: PrintReport
    division: Division = field(default_factory=Division)
    pieces_proof: PiecesProof | None = None
    moved_vertices: int = 0

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """The pieces of a divided half; empty when it fits the bed."""
        return self.division.pieces

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON; whoever writes the file fills in its name."""
        return {
            "name": self.name,
            "file": None,
            "volume_mm3": self.volume_mm3,
            "triangles": self.triangles,
            "solid": True,
            "printing": self.printing.as_dict(),
            "pieces": [piece.name for piece in self.pieces],
            "pieces_printing": [piece.printing.as_dict() for piece in self.pieces if piece.printing],
            "piece_gaps_mm3": self.division.gaps_mm3,
            "pieces_proof": None if self.pieces_proof is None else self.pieces_proof.as_dict(),
        }


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Mould:
    """A two-part mould with its proof; all geometry in the part's coordinates, assembled.

    Attributes
    ----------
    pull_direction, pour_up : (3,) float64
        Unit vectors: half_a opens along the first; the second is up while pouring.
    parting : PartingSurface
        Where the halves meet.
    trapped_mm3, max_undercut_mm : float
        What rigid halves would trap, and the deepest sideways hook.
    undercut : UndercutMap
        Depth of the hooks per face of the cavity.
    verdict : Verdict
        Whether a casting of the stated kind comes out, by the undercut.
    halves : (Half, Half)
        half_a and half_b.
    cavity, channels, casting : Solid
        The part (scaled by the shrinkage allowance), sprue with cup and vents, and both in one.
    outer_volume_mm3, cavity_volume_mm3, channels_volume_mm3, hollows_volume_mm3 : float
        Volumes; hollows are bores, pockets and clearances.
    identity_error, release_interference_mm3 : float
        From the proof.
    air_pockets : tuple of AirPocket
        Air pockets of the cavity, vented or not.
    islands : tuple of Island
        Pieces of mould material that were cut off, and what became of them.
    runners : tuple of Channel
        Sprue and vents, in mould coordinates.
    keys : tuple of RegisterKey
        In mould coordinates.
    bolts : tuple of (3,) float64
        Where the bolts' axes meet the parting surface, in the part's coordinates.
    slots : int
        Slots for a lever.
    screw_length_mm : float or None
        Length of the screws that fit; None without bolts.
    standing : Standing
        How it stands while it is poured.
    least_wall_mm : float
        Thinnest wall between cavity or channels and the outside, bores or sockets, and around sockets.
    wall_error_mm : (float, float, float) or None
        Least, greatest and root mean square error of a shell's wall; None for other bodies.
    frame : MouldFrame
        The mould coordinates: across, up, pull.
    settings : MouldSettings
        As given.
    findings : tuple of Finding
        Everything noticed, the proof's findings included.
    proof : Proof
        The independent verdict.
    """

    pull_direction: FloatArray
    pour_up: FloatArray
    parting: PartingSurface
    trapped_mm3: float
    max_undercut_mm: float
    undercut: UndercutMap
    verdict: Verdict
    halves: tuple[Half, Half]
    cavity: Solid
    channels: Solid
    casting: Solid
    outer_volume_mm3: float
    cavity_volume_mm3: float
    channels_volume_mm3: float
    hollows_volume_mm3: float
    identity_error: float
    release_interference_mm3: float
    air_pockets: tuple[AirPocket, ...]
    islands: tuple[Island, ...]
    runners: tuple[Channel, ...]
    keys: tuple[RegisterKey, ...]
    bolts: tuple[FloatArray, ...]
    slots: int
    screw_length_mm: float | None
    standing: Standing
    least_wall_mm: float
    wall_error_mm: tuple[float, float, float] | None
    frame: MouldFrame
    settings: MouldSettings
    findings: tuple[Finding, ...]
    proof: Proof

    @property
    def verdicts(self) -> dict[str, Verdict]:
        """The verdict for each kind of casting, whichever was asked for."""
        strain = self.settings.safe_strain
        return {
            kind: verdict(self.undercut, self.parting, casting=kind, safe_strain=strain) for kind in CASTINGS
        }

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        places = [self.frame.points_to_part(key.center_mm).tolist() for key in self.keys]
        return {
            "pull_direction": self.pull_direction.tolist(),
            "pour_up": self.pour_up.tolist(),
            "parting": self.parting.kind,
            "trapped_mm3": self.trapped_mm3,
            "max_undercut_mm": self.max_undercut_mm,
            "undercut": self.undercut.as_dict(),
            "verdict": self.verdict.sentence,
            "verdicts": {
                kind: {"releases": found.releases, "sentence": found.sentence}
                for kind, found in self.verdicts.items()
            },
            "halves": [half.as_dict() for half in self.halves],
            "cavity_volume_mm3": self.cavity_volume_mm3,
            "channels_volume_mm3": self.channels_volume_mm3,
            "hollows_volume_mm3": self.hollows_volume_mm3,
            "outer_volume_mm3": self.outer_volume_mm3,
            "identity_error": self.identity_error,
            "release_interference_mm3": self.release_interference_mm3,
            "air_pockets": [pocket.as_dict() for pocket in self.air_pockets],
            "least_wall_mm": self.least_wall_mm,
            "wall_error_mm": self.wall_error_mm,
            "keys_mm": places,
            "bolts_mm": [bolt.tolist() for bolt in self.bolts],
            "slots": self.slots,
            "standing": self.standing.as_dict(),
            "screw_length_mm": self.screw_length_mm,
            "islands": [asdict(island) for island in self.islands],
            "settings": self.settings.as_dict(),
            "proof": self.proof.as_dict(),
            "findings": [finding.as_dict() for finding in self.findings],
        }
