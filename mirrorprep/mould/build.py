"""Building a two-part mould around a part."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from mirrorprep.errors import NotASolidError
from mirrorprep.geometry.air_pockets import AirPocket
from mirrorprep.mould.assembly import Assembly, Finished, Island, assemble, finished
from mirrorprep.mould.channels import air_pockets
from mirrorprep.mould.findings import (
    crossing_findings,
    fin_findings,
    furniture_findings,
    half_findings,
    island_findings,
    place,
    pocket_findings,
    undercut_findings,
)
from mirrorprep.mould.frame import MouldFrame
from mirrorprep.mould.hardware import bolt_size, screw_length_mm
from mirrorprep.mould.layout import Layout, lay_out
from mirrorprep.mould.pieces import Division, PiecesProof, divide_for_bed, prove_pieces
from mirrorprep.mould.printing import print_pose, print_report
from mirrorprep.mould.proof import HALF_NAMES, Proof, prove
from mirrorprep.mould.result import Half, Mould
from mirrorprep.mould.settings import MouldSettings
from mirrorprep.mould.standing import standing, standing_findings
from mirrorprep.mould.undercut_map import UndercutMap, Verdict, undercut_map, verdict
from mirrorprep.mould.walls import least_wall_mm, wall_findings
from mirrorprep.progress import SILENT, Progress
from mirrorprep.solid.finding import Finding
from mirrorprep.solid.rounding import FitSolid, fit_for_files
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
        Halves, channels, findings and proof. A mould that a rigid casting would lock in is returned with a
        finding of severity stop that says where, how deep and what to choose.

    Raises
    ------
    NotASolidError
        If the part is empty.
    NoPartingError
        If no parting surface or wall exists, or a half is too high for the printer.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import sphere
    >>> mould = build_mould(sphere(15.0), settings=MouldSettings(body="block"))
    >>> mould.proof.holds
    True
    """
    if part.is_empty:
        raise NotASolidError("The part is empty.", remedy="Give a closed part.")
    fit = fit_for_files(_with_allowance(part, settings))
    allowed = fit.solid
    layout = lay_out(allowed, settings, progress=progress.part(0.0, 0.5))
    progress.step("halves", 0.5)
    assembly = _assembled(layout)
    done = _finished(assembly, layout)
    halves = _halves(done, layout, allowed)
    progress.step("air pockets", 0.65)
    openings = [(channel.mouth_mm, channel.start_radius_mm) for channel in layout.runners]
    pockets = air_pockets(layout.cavity, openings).pockets
    undercut = undercut_map(allowed, layout.frame.parting)
    made = _Made(
        fit=fit,
        casting=layout.frame.to_part(assembly.casting),
        layout=layout,
        assembly=assembly,
        halves=halves,
        islands=_islands(assembly, done, layout),
        pockets=pockets,
        undercut=undercut,
        decision=verdict(
            undercut,
            layout.frame.parting,
            casting=settings.casting,
            safe_strain=settings.safe_strain,
        ),
    )
    return _mould(made, _proof(made, progress.part(0.7, 1.0)))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Made:
    """Everything that was made, before the proof."""

    fit: FitSolid
    casting: Solid
    layout: Layout
    assembly: Assembly
    halves: tuple[Half, Half]
    islands: tuple[Island, ...]
    pockets: tuple[AirPocket, ...]
    undercut: UndercutMap
    decision: Verdict

    @property
    def hollows_mm3(self) -> float:
        """Space inside the outside that is neither mould nor casting; pieces left out are such space too."""
        loose = [island.volume_mm3 for island in self.islands if island.fate == "loose"]
        return sum(hollow.volume_mm3 for hollow in self.assembly.hollows) + sum(loose)


def _with_allowance(part: Solid, settings: MouldSettings) -> Solid:
    """Return the part scaled by the shrinkage allowance about its centroid."""
    scale = settings.cavity_scale
    if np.all(scale == 1.0):
        return part
    matrix = np.eye(4)
    matrix[:3, :3] = np.diag(scale)
    matrix[:3, 3] = (1.0 - scale) * part.mass_properties.centroid_mm
    return part.transformed(matrix)


def _assembled(layout: Layout) -> Assembly:
    return assemble(
        layout.outside,
        layout.cavity,
        layout.frame,
        channels=[channel.solid for channel in layout.runners],
        keys=layout.keys,
        tools=layout.tools,
    )


def _finished(assembly: Assembly, layout: Layout) -> dict[str, Finished]:
    with ThreadPoolExecutor(2) as pool:
        tasks = [
            pool.submit(finished, half, layout.cavity, layout.frame.rotation)
            for half in (assembly.half_a, assembly.half_b)
        ]
    return {name: task.result() for name, task in zip(HALF_NAMES, tasks, strict=True)}


def _islands(assembly: Assembly, done: dict[str, Finished], layout: Layout) -> tuple[Island, ...]:
    flakes = [island for name, half in done.items() for island in half.islands(name, layout.frame.rotation)]
    return (*assembly.islands, *flakes)


def _halves(done: dict[str, Finished], layout: Layout, cavity: Solid) -> tuple[Half, Half]:
    across, up, pull = layout.frame.rotation.T
    backs = {"half_a": np.column_stack([across, -up, -pull]), "half_b": np.column_stack([across, up, pull])}
    settings = layout.settings
    made = []
    for name, half in done.items():
        placed = half.solid
        pose = print_pose(placed, backs[name], settings.bed_mm)
        division = divide_for_bed(name, placed, pose, settings, cavity=cavity)
        made.append(
            Half(
                name=name,
                solid=placed,
                volume_mm3=placed.volume_mm3,
                triangles=len(placed.mesh.faces),
                print_pose=pose,
                printing=print_report(placed.mesh, pose, settings.bed_mm),
                division=division,
                pieces_proof=_pieces_proof(placed, division, settings),
                moved_vertices=half.moved,
            )
        )
    return made[0], made[1]


def _pieces_proof(half: Solid, division: Division, settings: MouldSettings) -> PiecesProof | None:
    if not division.pieces:
        return None
    return prove_pieces(half, division.pieces, gaps_mm3=division.gaps_mm3, bed_mm=settings.bed_mm)


def _proof(made: _Made, progress: Progress) -> Proof:
    return prove(
        [half.solid for half in made.halves],
        made.casting,
        made.layout.frame.parting.pull_direction,
        hollows_mm3=made.hollows_mm3,
        outer_mm3=made.layout.outside.volume_mm3,
        flexible=made.layout.settings.casting == "flexible",
        progress=progress,
    )


def _findings(made: _Made, least_wall: float) -> list[Finding]:
    layout = made.layout
    frame, settings = layout.frame, layout.settings
    return [
        *undercut_findings(made.decision),
        *pocket_findings(made.pockets, frame, settings),
        *island_findings(made.islands, frame),
        *fin_findings(layout),
        *furniture_findings(layout),
        *wall_findings(layout, least_wall),
        *standing_findings(layout),
        *half_findings(made.halves, made.fit.moved, settings),
    ]


def _mould(made: _Made, proof: Proof) -> Mould:
    layout, assembly = made.layout, made.assembly
    frame, settings = layout.frame, layout.settings
    least_wall = least_wall_mm(layout)
    shell = layout.shell
    grip = 2.0 * settings.flange_thickness_mm
    return Mould(
        pull_direction=frame.parting.pull_direction,
        pour_up=frame.rotation[:, 1],
        parting=frame.parting,
        trapped_mm3=float(frame.parting.trapped_mm3),
        max_undercut_mm=made.undercut.max_mm,
        undercut=made.undercut,
        verdict=made.decision,
        halves=made.halves,
        cavity=made.fit.solid,
        channels=frame.to_part(assembly.channels),
        casting=made.casting,
        outer_volume_mm3=layout.outside.volume_mm3,
        cavity_volume_mm3=made.fit.solid.volume_mm3,
        channels_volume_mm3=assembly.channels.volume_mm3,
        hollows_volume_mm3=made.hollows_mm3,
        identity_error=float(proof.identity_error or 0.0),
        release_interference_mm3=proof.release_interference_mm3,
        air_pockets=tuple(_in_part(pocket, frame) for pocket in made.pockets),
        islands=tuple(replace(i, where_mm=place(frame, i.where_mm)) for i in made.islands),
        runners=layout.runners,
        keys=layout.keys,
        bolts=tuple(
            np.array(place(frame, (*bolt, float(frame.height_mm(bolt)[0])))) for bolt in layout.bolts_uv
        ),
        screw_length_mm=screw_length_mm(bolt_size(settings.bolts), grip) if layout.bolts_uv else None,
        slots=layout.slots,
        standing=standing(layout),
        least_wall_mm=least_wall,
        wall_error_mm=shell.thickness_error_mm if shell is not None else None,
        frame=frame,
        settings=settings,
        findings=(*_findings(made, least_wall), *crossing_findings(made.fit, proof), *proof.findings),
        proof=proof,
    )


def _in_part(pocket: AirPocket, frame: MouldFrame) -> AirPocket:
    """Return a pocket with its summit in the part's coordinates; heights stay those along up."""
    return replace(pocket, summit_mm=place(frame, pocket.summit_mm))
