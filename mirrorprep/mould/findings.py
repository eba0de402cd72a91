"""What a finished mould has to say about itself."""

from collections.abc import Sequence

from mirrorprep.geometry.air_pockets import AirPocket
from mirrorprep.geometry.self_intersection import self_intersections
from mirrorprep.mould.assembly import CRUMB_MM3, Island
from mirrorprep.mould.frame import MouldFrame
from mirrorprep.mould.layout import Layout
from mirrorprep.mould.pieces import division_findings
from mirrorprep.mould.proof import Proof
from mirrorprep.mould.register_keys import wrong_closing_mm
from mirrorprep.mould.result import Half
from mirrorprep.mould.settings import MouldSettings
from mirrorprep.mould.undercut_map import RIGID_SHARE, Verdict
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.rounding import FitSolid
from mirrorprep.solid.solid import Solid, union

LOOSE_STOP_MM3 = 5.0
"""A loose piece of mould above this volume leaves a hollow of the casting unformed: it stops the job."""

FIN_MM = 2.0
"""Distance of a channel's mouth from the parting surface above which the fin is mentioned."""

_TWICE_SHARE = 1e-9
_NICE_TO_HAVE = ("marks-missing", "slots-missing", "code-missing")


def pocket_findings(
    pockets: Sequence[AirPocket], frame: MouldFrame, settings: MouldSettings
) -> list[Finding]:
    """Return a finding on the air pockets (in mould coordinates) that stay."""
    bad = [p for p in pockets if not p.vented and p.volume_mm3 > settings.least_pocket_mm3]
    if not bad:
        return []
    worst = max(pocket.volume_mm3 for pocket in bad)
    return [
        Finding(
            code="air-pocket",
            severity=Severity.CAUTION,
            message=f"{len(bad)} air pockets have no vent; the largest holds {worst:.1f} mm³ "
            f"(limit {settings.least_pocket_mm3:g} mm³).",
            where=tuple(place(frame, pocket.summit_mm) for pocket in bad[:24]),
            measured=worst,
            limit=settings.least_pocket_mm3,
            remedy="Tilt the mould while pouring, choose another pour direction, or degas.",
        )
    ]


def island_findings(islands: Sequence[Island], frame: MouldFrame) -> list[Finding]:
    """Return a finding for every piece of mould material that was cut off, and one for all crumbs."""
    crumbs = [island for island in islands if island.fate == "loose" and island.volume_mm3 < CRUMB_MM3]
    found = [_island_finding(island, frame) for island in islands if island not in crumbs]
    if crumbs:
        found.append(_crumbs_finding(crumbs, frame))
    return found


def _island_finding(island: Island, frame: MouldFrame) -> Finding:
    loose = island.fate == "loose"
    grave = Severity.STOP if island.volume_mm3 > LOOSE_STOP_MM3 else Severity.CAUTION
    fate = (
        f"from both halves by the casting and left out (limit {LOOSE_STOP_MM3:g} mm³)."
        if loose
        else f"and joined to {island.fate}."
    )
    return Finding(
        code="loose-island" if loose else "island-joined",
        severity=grave if loose else Severity.NOTE,
        message=f"A piece of {island.volume_mm3:.3g} mm³ of {island.of_half} was cut off {fate}",
        where=(place(frame, island.where_mm),),
        measured=island.volume_mm3,
        limit=LOOSE_STOP_MM3,
        remedy="Place a core there, or fill the hollow of the part." if loose else "",
    )


def _crumbs_finding(crumbs: Sequence[Island], frame: MouldFrame) -> Finding:
    total = sum(max(crumb.volume_mm3, 0.0) for crumb in crumbs)
    many = f"{len(crumbs)} crumbs of the halves were" if len(crumbs) > 1 else "A crumb of a half was"
    return Finding(
        code="crumbs-left-out",
        severity=Severity.NOTE,
        message=f"{many} cut off by the casting and left out: {total:.2g} mm³ in all, each below "
        f"{CRUMB_MM3:g} mm³, a cube of 0.1 mm.",
        where=tuple(place(frame, crumb.where_mm) for crumb in crumbs[:24]),
        measured=total,
        limit=CRUMB_MM3,
    )


def undercut_findings(verdict: Verdict) -> list[Finding]:
    """Return the verdict on the undercut as a finding, when there is anything to say."""
    if verdict.finding is not None:
        return [verdict.finding]
    if verdict.casting == "rigid" or verdict.limit == RIGID_SHARE:
        return []
    return [
        Finding(
            code="undercut-flexes",
            severity=Severity.CAUTION,
            message=verdict.sentence,
            measured=verdict.measured,
            limit=verdict.limit,
            remedy="Open the mould slowly and peel the casting out.",
        )
    ]


def furniture_findings(layout: Layout) -> list[Finding]:
    """Return findings on keys, bolts, slots and marks that found no room, and on keys that fit two ways."""
    settings = layout.settings
    wanted = {
        "keys-missing": ("register keys", settings.keys_asked, len(layout.keys)),
        "bolts-missing": (
            "clamp bolts",
            settings.bolt_count if settings.bolts != "none" else 0,
            len(layout.bolts_uv),
        ),
        "slots-missing": ("slots for a lever", 2 if settings.pry_slots else 0, layout.slots),
        "marks-missing": ("marks on the halves", 2 if settings.marks else 0, layout.marked),
        "code-missing": ("job codes", layout.marked if settings.job_code else 0, layout.coded),
    }
    missing = [
        Finding(
            code=code,
            severity=Severity.NOTE if code in _NICE_TO_HAVE else Severity.CAUTION,
            message=f"Only {placed} of {asked} {name} found room.",
            measured=float(placed),
            limit=float(asked),
            remedy="Choose a wider flange, feet, or fewer or smaller ones.",
        )
        for code, (name, asked, placed) in wanted.items()
        if placed < asked
    ]
    return missing + _closing_findings(layout)


def _closing_findings(layout: Layout) -> list[Finding]:
    """Return a finding when the keys let the halves close turned about the pull."""
    apart, gap = wrong_closing_mm(layout.keys), layout.settings.key_gap_mm
    if apart > gap:
        return []
    return [
        Finding(
            code="keys-fit-two-ways",
            severity=Severity.CAUTION,
            message=f"The halves close turned as well: the keys hold them only {apart:.2g} mm apart then "
            f"(limit {gap:g} mm, their clearance).",
            measured=apart,
            limit=gap,
            remedy="Choose another number of register keys, or mind the marks when closing.",
        )
    ]


def fin_findings(layout: Layout) -> list[Finding]:
    """Return a finding on channels whose mouth lies beside the parting surface."""
    beside = [abs(c.mouth_mm[2] - c.axis_w_mm) for c in layout.runners]
    wide = [channel for channel, away in zip(layout.runners, beside, strict=True) if away > FIN_MM]
    if not wide:
        return []
    return [
        Finding(
            code="channel-fin",
            severity=Severity.NOTE,
            message=f"{len(wide)} of {len(beside)} channels reach the cavity beside the parting surface, "
            f"up to {max(beside):.1f} mm off; the casting carries a fin there (noted above {FIN_MM:g} mm).",
            where=tuple(place(layout.frame, channel.mouth_mm) for channel in wide),
            measured=max(beside),
            limit=FIN_MM,
            remedy="Cut the fins off the casting, or choose another pour direction.",
        )
    ]


def half_findings(halves: Sequence[Half], drawn_apart: int, settings: MouldSettings) -> list[Finding]:
    """Return findings on halves divided for the bed, and on cavities that touch themselves."""
    found = []
    for half in halves:
        found += division_findings(half.name, half.division, settings)
        found += [] if half.pieces_proof is None else half.pieces_proof.findings
    moved = drawn_apart + sum(half.moved_vertices for half in halves)
    if moved:
        found.append(
            Finding(
                code="part-touches-itself",
                severity=Severity.NOTE,
                message=f"The part's surface touches itself: {moved} vertices of the cavity were drawn apart "
                "by less than a thousandth of a millimetre, so that the files stay closed.",
                measured=float(moved),
                limit=0.0,
                remedy="Mend the scan first ('mirrorprep mend') if the exact cavity matters there.",
            )
        )
    return found


def crossing_findings(fit: FitSolid, proof: Proof) -> list[Finding]:
    """Return findings on a part whose own surfaces cross, or overlap: a stop where the proof fails too."""
    if fit.crossing == 0:
        return [] if proof.sound else _overlap_findings(fit.solid)
    mesh = fit.solid.mesh
    pairs = self_intersections(mesh.vertices, mesh.faces)
    where = mesh.triangles[pairs[:24, 0]].mean(axis=1)
    return [
        Finding(
            code="part-crosses-itself",
            severity=Severity.CAUTION if proof.sound else Severity.STOP,
            message=f"The part's surface crosses itself at {fit.crossing} pairs of triangles (limit 0); "
            + ("so does its cavity." if proof.sound else "its cavity cannot be cut without fault."),
            where=tuple((float(x), float(y), float(z)) for x, y, z in where),
            measured=float(fit.crossing),
            limit=0.0,
            remedy="Mend the scan first ('mirrorprep mend').",
        )
    ]


def _overlap_findings(cavity: Solid) -> list[Finding]:
    """Return a finding when bodies of the part lie within one another: their common volume counts twice."""
    twice = cavity.volume_mm3 - union(cavity.fragments()).volume_mm3
    if twice <= _TWICE_SHARE * cavity.volume_mm3:
        return []
    return [
        Finding(
            code="part-overlaps-itself",
            severity=Severity.STOP,
            message=f"Bodies of the part lie within one another: {twice:.3g} mm³ count twice (limit 0); its "
            "cavity cannot be cut without fault.",
            measured=twice,
            limit=0.0,
            remedy="Mend the scan first ('mirrorprep mend'), or take the inner bodies out.",
        )
    ]


def place(frame: MouldFrame, point_mm: Sequence[float]) -> tuple[float, float, float]:
    """Return a point of mould coordinates in the part's."""
    x, y, z = frame.points_to_part(point_mm).tolist()
    return x, y, z
