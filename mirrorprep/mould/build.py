"""Building a two-part mould around a part."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from mirrorprep.errors import NotASolidError
from mirrorprep.geometry.air_pockets import AirPocket
from mirrorprep.mould.assembly import Assembly, assemble, finished, print_pose
from mirrorprep.mould.channels import air_pockets
from mirrorprep.mould.frame import MouldFrame
from mirrorprep.mould.layout import Layout, lay_out
from mirrorprep.mould.proof import prove
from mirrorprep.mould.result import Half, Mould
from mirrorprep.mould.settings import MouldSettings
from mirrorprep.progress import SILENT, Progress
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]

_DEFAULTS = MouldSettings()


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
    allowed = _with_allowance(part, settings)
    layout = lay_out(allowed, settings, progress=progress.part(0.0, 0.5))
    progress.step("halves", 0.5)
    assembly = assemble(
        layout.outside,
        layout.cavity,
        layout.frame,
        channels=[channel.solid for channel in layout.runners],
        keys=layout.keys,
        tools=layout.tools,
    )
    halves = _halves(assembly, layout)
    progress.step("air pockets", 0.65)
    openings = [(channel.mouth_mm, channel.start_radius_mm) for channel in layout.runners]
    pockets = air_pockets(layout.cavity, openings).pockets
    return _proved(allowed, layout, assembly, halves, pockets, progress=progress.part(0.7, 1.0))


def _proved(
    cavity: Solid,
    layout: Layout,
    assembly: Assembly,
    halves: tuple[Half, Half],
    pockets: Sequence[AirPocket],
    *,
    progress: Progress,
) -> Mould:
    frame, settings = layout.frame, layout.settings
    casting = frame.to_part(assembly.casting)
    loose = [island.volume_mm3 for island in assembly.islands if island.fate == "loose"]
    hollows = sum(hollow.volume_mm3 for hollow in assembly.hollows) + sum(loose)
    outer = layout.outside.volume_mm3
    proof = prove(
        [half.solid for half in halves],
        casting,
        frame.parting.pull_direction,
        hollows_mm3=hollows,
        outer_mm3=outer,
        progress=progress,
    )
    findings = [*_pocket_findings(pockets, settings), *_island_findings(assembly, frame), *proof.findings]
    return Mould(
        pull_direction=frame.parting.pull_direction,
        pour_up=frame.rotation[:, 1],
        parting=frame.parting,
        trapped_mm3=frame.parting.trapped_mm3,
        max_undercut_mm=float("nan"),
        halves=halves,
        cavity=cavity,
        channels=frame.to_part(assembly.channels),
        casting=casting,
        outer_volume_mm3=outer,
        cavity_volume_mm3=cavity.volume_mm3,
        channels_volume_mm3=assembly.channels.volume_mm3,
        hollows_volume_mm3=hollows,
        identity_error=float(proof.identity_error or 0.0),
        release_interference_mm3=proof.release_interference_mm3,
        air_pockets=tuple(pockets),
        islands=assembly.islands,
        runners=layout.runners,
        keys=layout.keys,
        frame=frame,
        settings=settings,
        findings=tuple(findings),
        proof=proof,
    )


def _with_allowance(part: Solid, settings: MouldSettings) -> Solid:
    """Return the part scaled by the shrinkage allowance about its centroid."""
    scale = settings.cavity_scale
    if np.all(scale == 1.0):
        return part
    matrix = np.eye(4)
    matrix[:3, :3] = np.diag(scale)
    matrix[:3, 3] = (1.0 - scale) * part.mass_properties.centroid_mm
    return part.transformed(matrix)


def _halves(assembly: Assembly, layout: Layout) -> tuple[Half, Half]:
    across, up, pull = layout.frame.rotation.T
    backs = {"half_a": np.column_stack([across, -up, -pull]), "half_b": np.column_stack([across, up, pull])}
    made = []
    for name, solid in zip(backs, (assembly.half_a, assembly.half_b), strict=True):
        placed = finished(solid, layout.cavity, layout.frame.rotation)
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


def _island_findings(assembly: Assembly, frame: MouldFrame) -> list[Finding]:
    found = []
    for island in assembly.islands:
        loose = island.fate == "loose"
        x, y, z = frame.points_to_part(island.where_mm).tolist()
        found.append(
            Finding(
                code="loose-island" if loose else "island-joined",
                severity=Severity.CAUTION if loose else Severity.NOTE,
                message=f"A piece of {island.volume_mm3:.3g} mm³ of {island.of_half} was cut off"
                + (" and left out." if loose else f" and joined to {island.fate}."),
                where=((x, y, z),),
                measured=island.volume_mm3,
                remedy="Place a core there, or fill the hollow of the part." if loose else "",
            )
        )
    return found
