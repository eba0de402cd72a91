"""Building a two-part mould around a part."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass

import numpy as np
from numpy.typing import NDArray

from mirrorprep.errors import NotASolidError
from mirrorprep.geometry.air_pockets import AirPocket
from mirrorprep.mould.assembly import Assembly, Island, assemble, print_pose
from mirrorprep.mould.body import Outside, block, cylinder
from mirrorprep.mould.channels import Channel, air_pockets, footprint, plan_channels, pour_up_uv
from mirrorprep.mould.frame import MouldFrame
from mirrorprep.mould.hardware import bolt_size, bolt_tools
from mirrorprep.mould.parting import PartingSurface, find_parting
from mirrorprep.mould.proof import Proof, prove
from mirrorprep.mould.register_keys import RegisterKey, place_keys, spread_places
from mirrorprep.mould.settings import MouldSettings
from mirrorprep.progress import SILENT, Progress
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.section import silhouette
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]

_DEFAULTS = MouldSettings()


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
    """

    name: str
    solid: Solid
    volume_mm3: float
    triangles: int
    print_pose: FloatArray

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON; whoever writes the file fills in its name."""
        return {
            "name": self.name,
            "file": None,
            "volume_mm3": self.volume_mm3,
            "triangles": self.triangles,
            "solid": True,
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
    frame: MouldFrame
    settings: MouldSettings
    findings: tuple[Finding, ...]
    proof: Proof

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        return {
            "pull_direction": self.pull_direction.tolist(),
            "pour_up": self.pour_up.tolist(),
            "parting": self.parting.kind,
            "trapped_mm3": _number(self.trapped_mm3),
            "max_undercut_mm": _number(self.max_undercut_mm),
            "halves": [half.as_dict() for half in self.halves],
            "cavity_volume_mm3": self.cavity_volume_mm3,
            "channels_volume_mm3": self.channels_volume_mm3,
            "hollows_volume_mm3": self.hollows_volume_mm3,
            "outer_volume_mm3": self.outer_volume_mm3,
            "identity_error": self.identity_error,
            "release_interference_mm3": self.release_interference_mm3,
            "air_pockets": [pocket.as_dict() for pocket in self.air_pockets],
            "islands": [asdict(island) for island in self.islands],
            "settings": self.settings.as_dict(),
            "proof": self.proof.as_dict(),
            "findings": [finding.as_dict() for finding in self.findings],
        }


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def build_mould(part: Solid, *, settings: MouldSettings = _DEFAULTS, progress: Progress = SILENT) -> Mould:
    """Build a two-part mould around a part and prove that it closes and opens.

    Parameters
    ----------
    part : Solid
        One closed body; its triangles become the cavity.
    settings : MouldSettings
        What the mould shall be like.
    progress : Progress
        Told about each stage.

    Returns
    -------
    Mould
        Halves, channels, findings and proof.

    Raises
    ------
    NotASolidError
        If the part is empty.
    NoPartingError
        If no parting surface exists.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import sphere
    >>> mould = build_mould(sphere(15.0), settings=MouldSettings(body="block"))
    >>> mould.proof.holds
    True
    """
    if part.is_empty:
        raise NotASolidError("The part is empty.", remedy="Give a closed part.")
    cavity_part = _scaled(part, settings)
    frame = _frame(cavity_part, settings, progress.part(0.0, 0.3))
    cavity = frame.to_mould(cavity_part)
    progress.step("channels", 0.35)
    runners = _runners(cavity, frame, settings)
    outside = _outside(cavity, runners, frame, settings)
    keys, tools = _furniture(cavity, outside, runners, frame, settings)
    progress.step("halves", 0.45)
    assembly = assemble(
        outside.solid, cavity, frame, channels=[c.solid for c in runners], keys=keys, tools=tools
    )
    progress.step("air pockets", 0.6)
    pockets = air_pockets(cavity, [(channel.gate_mm, channel.start_radius_mm) for channel in runners]).pockets
    halves = _halves(assembly, frame)
    casting = frame.to_part(assembly.casting)
    hollows = sum(hollow.volume_mm3 for hollow in assembly.hollows) + sum(
        island.volume_mm3 for island in assembly.islands if island.fate == "loose"
    )
    proof = prove(
        [half.solid for half in halves],
        casting,
        frame.parting.pull_direction,
        hollows_mm3=hollows,
        outer_mm3=outside.solid.volume_mm3,
        progress=progress.part(0.65, 1.0),
    )
    findings = [*_pocket_findings(pockets, settings), *_island_findings(assembly), *proof.findings]
    return Mould(
        pull_direction=frame.parting.pull_direction,
        pour_up=frame.rotation[:, 1],
        parting=frame.parting,
        trapped_mm3=frame.parting.trapped_mm3,
        max_undercut_mm=float("nan"),
        halves=halves,
        cavity=cavity_part,
        channels=frame.to_part(assembly.channels),
        casting=casting,
        outer_volume_mm3=outside.solid.volume_mm3,
        cavity_volume_mm3=cavity_part.volume_mm3,
        channels_volume_mm3=assembly.channels.volume_mm3,
        hollows_volume_mm3=hollows,
        identity_error=float(proof.identity_error or 0.0),
        release_interference_mm3=proof.release_interference_mm3,
        air_pockets=pockets,
        islands=assembly.islands,
        runners=tuple(runners),
        keys=tuple(keys),
        frame=frame,
        settings=settings,
        findings=tuple(findings),
        proof=proof,
    )


def _scaled(part: Solid, settings: MouldSettings) -> Solid:
    scale = settings.cavity_scale
    if np.all(scale == 1.0):
        return part
    matrix = np.eye(4)
    matrix[:3, :3] = np.diag(scale)
    matrix[:3, 3] = (1.0 - scale) * part.mass_properties.centroid_mm
    return part.transformed(matrix)


def _frame(cavity: Solid, settings: MouldSettings, progress: Progress) -> MouldFrame:
    parting = find_parting(
        cavity,
        pull_direction=settings.pull_direction,
        kind=settings.parting,
        margin_mm=2.0 * settings.flange_width_mm,
        progress=progress,
    )
    coarse = cavity.simplified(float(np.ptp(cavity.bounds_mm, axis=0).max()) / 300.0)
    return MouldFrame(parting=parting, up_uv=pour_up_uv(coarse, parting.frame, settings))


def _runners(cavity: Solid, frame: MouldFrame, settings: MouldSettings) -> list[Channel]:
    top = float(cavity.bounds_mm[1, 1]) + settings.wall_mm + 4.0 + settings.cup_depth_mm
    pockets = air_pockets(cavity, []).pockets
    return plan_channels(cavity, pockets, frame, top_mm=top, settings=settings)


def _outside(
    cavity: Solid, runners: Sequence[Channel], frame: MouldFrame, settings: MouldSettings
) -> Outside:
    reach = max(channel.outlet_radius_mm for channel in runners) + 2.0
    reach = max(reach, settings.flange_thickness_mm + 2.0)
    levels = [channel.axis_w_mm for channel in runners]
    heights = frame.parting.field.height_mm
    span = (min([*levels, float(heights.min())]) - reach, max([*levels, float(heights.max())]) + reach)
    make = cylinder if settings.body == "cylinder" else block
    top = runners[0].stop_v_mm
    return make(cavity, top_mm=top, w_span_mm=span, settings=settings)


def _furniture(
    cavity: Solid, outside: Outside, runners: Sequence[Channel], frame: MouldFrame, settings: MouldSettings
) -> tuple[list[RegisterKey], list[Solid]]:
    """Return the register keys and the bodies to cut away for bolts."""
    coarse = cavity.simplified(0.05)
    taken = silhouette(coarse).offset(2.0) + footprint(runners).offset(2.0)
    free = outside.plan.offset(-1.5) - taken
    centers: list[FloatArray] = []
    tools: list[Solid] = []
    if settings.bolts != "none":
        bolt = bolt_size(settings.bolts)
        centers = spread_places(
            free.offset(-bolt.reach_mm), settings.bolt_count, apart_mm=2.0 * bolt.reach_mm + 2.0
        )
        low, high = outside.solid.bounds_mm[:, 2]
        for center in centers:
            level = float(frame.height_mm(center)[0])
            seat = settings.flange_thickness_mm
            tools.append(
                bolt_tools(
                    bolt,
                    center,
                    nut_seat_mm=level - seat,
                    head_seat_mm=level + seat,
                    span_mm=(low - 1.0, high + 1.0),
                )
            )
    return place_keys(free, frame, settings, taken=centers), tools


def _halves(assembly: Assembly, frame: MouldFrame) -> tuple[Half, Half]:
    across, up, pull = frame.rotation.T
    backs = {"half_a": np.column_stack([across, -up, -pull]), "half_b": np.column_stack([across, up, pull])}
    made = []
    for name, solid in zip(backs, (assembly.half_a, assembly.half_b), strict=True):
        placed = frame.to_part(solid)
        made.append(
            Half(
                name=name,
                solid=placed,
                volume_mm3=placed.volume_mm3,
                triangles=len(placed.mesh.faces),
                print_pose=print_pose(placed, backs[name]),
            )
        )
    return made[0], made[1]


def _pocket_findings(pockets: Sequence[AirPocket], settings: MouldSettings) -> list[Finding]:
    bad = [p for p in pockets if not p.vented and p.volume_mm3 > settings.least_pocket_mm3]
    if not bad:
        return []
    worst = max(pocket.volume_mm3 for pocket in bad)
    return [
        Finding(
            code="air-pocket",
            severity=Severity.CAUTION,
            message=f"{len(bad)} air pockets have no vent; the largest holds {worst:.1f} mm³ "
            f"(limit {settings.least_pocket_mm3:g}).",
            measured=worst,
            limit=settings.least_pocket_mm3,
            remedy="Tilt the mould while pouring, choose another pour direction, or degas.",
        )
    ]


def _island_findings(assembly: Assembly) -> list[Finding]:
    found = []
    for island in assembly.islands:
        loose = island.fate == "loose"
        found.append(
            Finding(
                code="loose-island" if loose else "island-joined",
                severity=Severity.CAUTION if loose else Severity.NOTE,
                message=f"A piece of {island.volume_mm3:.3g} mm³ of {island.of_half} was cut off"
                + (" and left out." if loose else f" and joined to {island.fate}."),
                measured=island.volume_mm3,
            )
        )
    return found
