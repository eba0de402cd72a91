"""Verdict: what a plan's figures mean, as findings with stable codes."""

from mirrorprep import cautions
from mirrorprep.geometry.vent_places import POCKET_LIMIT_MM3
from mirrorprep.pour.demoulding import undercut_findings
from mirrorprep.pour.filling import Filling
from mirrorprep.pour.holding import Holding
from mirrorprep.pour.materials import Material
from mirrorprep.pour.request import PourRequest
from mirrorprep.pour.shrinkage import ShrinkageReport
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.units import hydrostatic_pressure_pa

FREE_FALL_LIMIT_MM = 100.0
"""Fall of the stream inside the cavity beyond which it draws in air: common practice, no source."""

LEVEL_CEILING_LIMIT_MM2 = 100.0
"""Level ceiling under which bubbles are likely to stay: common practice, no source."""

VENT_SHARE = 0.05
"""Share of the head that vents may cost: common practice, no source."""

_MOST_PLACES = 24


def judge(
    request: PourRequest, filling: Filling, holding: Holding, shrinkage: ShrinkageReport
) -> tuple[Finding, ...]:
    """Return the findings of a plan, in the order of the work."""
    material = request.resolved_material
    return (
        *_material(request, material),
        *_air(request, filling),
        *_time(request, filling, material),
        *_flow(filling, material),
        *_holding(request, holding),
        *_size(request, shrinkage),
        *undercut_findings(material, request.undercut),
    )


def _material(request: PourRequest, material: Material) -> list[Finding]:
    found = []
    generic = material.generic_figures
    if generic:
        found.append(
            Finding(
                code="generic-material-figure",
                severity=Severity.NOTE,
                message=f"Generic figures of the class '{material.name}' are used for {', '.join(generic)}.",
                measured=float(len(generic)),
                limit=0.0,
                remedy="State the figures of your data sheet in the job.",
            )
        )
    if cautions.CURE_INHIBITION in material.cautions and request.print_process == "sla":
        found.append(
            Finding(
                code="cure-inhibition",
                severity=Severity.CAUTION,
                message=cautions.CURE_INHIBITION,
                remedy="Cast a test patch against a printed sample before the mould itself.",
            )
        )
    return found


def _air(request: PourRequest, filling: Filling) -> list[Finding]:
    found = []
    if filling.air.idle_openings:
        found.append(
            Finding(
                code="opening-not-reached",
                severity=Severity.CAUTION,
                message=f"{len(filling.air.idle_openings)} openings do not touch the cavity or its channels.",
                measured=float(len(filling.air.idle_openings)),
                limit=0.0,
                remedy="Check the places of the sprue and the vents.",
            )
        )
    if filling.advised_vents_mm:
        count, largest = len(filling.advised_vents_mm), filling.air.unvented[0].volume_mm3
        found.append(
            Finding(
                code="air-pocket-unvented" if request.has_mould else "vents-needed",
                severity=Severity.STOP if request.has_mould else Severity.NOTE,
                message=(
                    f"{count} air {'pocket' if count == 1 else 'pockets'} over {POCKET_LIMIT_MM3:g} mm³, the "
                    f"largest of {largest:.0f} mm³, {'has' if count == 1 else 'have'} no vent."
                ),
                where=filling.advised_vents_mm[:_MOST_PLACES],
                measured=largest,
                limit=POCKET_LIMIT_MM3,
                remedy="Put a vent at each place shown, or pour another way up.",
            )
        )
    if filling.level_ceiling_mm2 > LEVEL_CEILING_LIMIT_MM2:
        found.append(
            Finding(
                code="level-ceiling",
                severity=Severity.NOTE,
                message=f"{filling.level_ceiling_mm2:.0f} mm² of the cavity's ceiling lie level.",
                measured=filling.level_ceiling_mm2,
                limit=LEVEL_CEILING_LIMIT_MM2,
                remedy="Tilt the mould by 5 to 10 degrees towards a vent while pouring, and tap it.",
            )
        )
    return found


def _time(request: PourRequest, filling: Filling, material: Material) -> list[Finding]:
    life, time = material.pot_life_s, filling.time.time_s
    if life is None:
        return [
            Finding(
                code="pot-life-unknown",
                severity=Severity.NOTE,
                message=f"How long {material.name} stays fluid is unknown: it freezes by cooling.",
                remedy="Warm the mould and try a waste pour.",
            )
        ]
    allowed = request.pot_life_share * life.typical
    if time.typical > allowed:
        advice = (
            "No sprue up to 40 mm is wide enough: take a thinner or slower mix."
            if filling.advised_sprue_mm is None
            else f"Widen the sprue to {filling.advised_sprue_mm:.1f} mm or raise the cup."
        )
        return [
            Finding(
                code="fill-time-long",
                severity=Severity.CAUTION,
                message=(
                    f"Filling takes about {time.rounded:g} s, more than "
                    f"{100 * request.pot_life_share:.0f} % of the pot life of {life.typical:g} s."
                ),
                measured=time.typical,
                limit=allowed,
                remedy=advice,
            )
        ]
    if time.high > life.low:
        return [
            Finding(
                code="fill-time-uncertain",
                severity=Severity.NOTE,
                message=(
                    f"With the thickest mix of the class filling takes {time.high:.0f} s, more than its "
                    f"shortest pot life of {life.low:g} s."
                ),
                measured=time.high,
                limit=life.low,
                remedy="State viscosity and pot life of your data sheet in the job.",
            )
        ]
    return []


def _flow(filling: Filling, material: Material) -> list[Finding]:
    found = []
    flow = filling.time.flow
    if flow.regime in {"transition", "turbulent"}:
        found.append(
            Finding(
                code="flow-not-laminar",
                severity=Severity.NOTE,
                message=f"The stream in the sprue is not smooth (Reynolds number {flow.reynolds:.0f}).",
                measured=flow.reynolds,
                limit=2000.0,
                remedy="Pour along the wall of the sprue, and keep it full so that it draws in no air.",
            )
        )
    if filling.free_fall_mm > FREE_FALL_LIMIT_MM:
        found.append(
            Finding(
                code="free-fall",
                severity=Severity.NOTE,
                message=f"The stream falls {filling.free_fall_mm:.0f} mm in the cavity and may draw in air.",
                measured=filling.free_fall_mm,
                limit=FREE_FALL_LIMIT_MM,
                remedy="Tilt the mould at first so that the stream runs down a wall, or feed it from below.",
            )
        )
    head = hydrostatic_pressure_pa(material.liquid_density_g_cm3.typical, filling.time.sprue.head_mm)
    if filling.vent_pressure_pa is not None and filling.vent_pressure_pa > VENT_SHARE * head:
        found.append(
            Finding(
                code="vents-narrow",
                severity=Severity.NOTE,
                message=f"The vents hold back the air with {filling.vent_pressure_pa:.0f} Pa at this rate.",
                measured=filling.vent_pressure_pa,
                limit=VENT_SHARE * head,
                remedy="Widen the vents, add one, or pour more slowly.",
            )
        )
    life = material.pot_life_s
    if life is not None and filling.bubble_time_s > life.typical:
        found.append(
            Finding(
                code="bubbles-stay",
                severity=Severity.NOTE,
                message=(
                    f"A bubble of 1 mm needs about {filling.bubble_time_s:.0f} s to rise through the cavity, "
                    f"longer than the pot life of {life.typical:g} s."
                ),
                measured=filling.bubble_time_s,
                limit=life.typical,
                remedy="Degas the mix before pouring, and pour in a thin stream.",
            )
        )
    return found


def _holding(request: PourRequest, holding: Holding) -> list[Finding]:
    bending, tolerance = holding.wall_deflection_mm, request.tolerance_mm
    if bending is None or tolerance is None or bending.typical <= request.deflection_share * tolerance:
        return []
    return [
        Finding(
            code="wall-bends",
            severity=Severity.CAUTION,
            message=(
                f"The shell's wall may bend by up to {bending.typical:.2f} mm (flat plate, an upper "
                f"estimate), more than {100 * request.deflection_share:.0f} % of the tolerance of "
                f"±{tolerance:g} mm."
            ),
            measured=bending.typical,
            limit=request.deflection_share * tolerance,
            remedy="Thicken the wall, back the shell with plaster or sand, or lower the cup.",
        )
    ]


def _size(request: PourRequest, shrinkage: ShrinkageReport) -> list[Finding]:
    if request.tolerance_mm is None or shrinkage.worst_error_mm <= request.tolerance_mm:
        return []
    allowed_for = any(abs(share) > 0.0 for share in shrinkage.allowed)
    return [
        Finding(
            code="shrinkage-over-tolerance",
            severity=Severity.CAUTION,
            message=(
                f"The casting may differ by up to {shrinkage.worst_error_mm:.2f} mm from the part; the "
                f"tolerance is ±{request.tolerance_mm:g} mm."
            ),
            measured=shrinkage.worst_error_mm,
            limit=request.tolerance_mm,
            remedy="State the shrinkage of your data sheet."
            if allowed_for
            else "Scale the cavity for the shrinkage of the material.",
        )
    ]
