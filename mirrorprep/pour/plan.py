"""The plan of a pour: the one door to this room."""

from dataclasses import dataclass

import numpy as np

from mirrorprep import cautions
from mirrorprep.geometry.air_pockets import AirAnalysis, LevelState
from mirrorprep.pour.demoulding import DemouldingStep, demoulding_steps
from mirrorprep.pour.filling import Filling, plan_filling
from mirrorprep.pour.holding import Holding, plan_holding
from mirrorprep.pour.materials import Material
from mirrorprep.pour.quantities import Quantities, quantities
from mirrorprep.pour.ranges import Range
from mirrorprep.pour.request import PourRequest
from mirrorprep.pour.shrinkage import ShrinkageReport, shrinkage_report
from mirrorprep.pour.verdict import judge
from mirrorprep.progress import SILENT, Progress
from mirrorprep.solid.finding import Finding

_OVERLAP_SHARE = 5e-3


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PourPlan:
    """What to mix, how to pour, what to expect.

    Attributes
    ----------
    request : PourRequest
        As given.
    material_used : Material
        With its ranges and their sources.
    quantities : Quantities
        Volumes, masses, parts.
    filling : Filling
        Direction, air, levels, time.
    holding : Holding
        Lifting force, clamp load, wall.
    shrinkage : ShrinkageReport
        Size before and after.
    demoulding : tuple of DemouldingStep
        In order.
    cautions : tuple of str
        For this material and this work.
    not_known : tuple of str
        What the plan had to assume or leave out.
    findings : tuple of Finding
        What was noticed.
    """

    request: PourRequest
    material_used: Material
    quantities: Quantities
    filling: Filling
    holding: Holding
    shrinkage: ShrinkageReport
    demoulding: tuple[DemouldingStep, ...]
    cautions: tuple[str, ...]
    not_known: tuple[str, ...]
    findings: tuple[Finding, ...]

    @property
    def material(self) -> str:
        """Name of the material."""
        return self.material_used.name

    @property
    def mass_g(self) -> float:
        """Mass to mix, with the digits that the figures support."""
        return self.quantities.mass_g.rounded

    @property
    def parts_by_mass(self) -> dict[str, float]:
        """Mass of each part of the mix that makes up `mass_g`, g: the ratio is kept to three digits."""
        parts = self.material_used.mix.masses_g(Range.of(self.mass_g))
        return {name: Range.of(part.typical).rounded for name, part in parts.items()}

    @property
    def fill_time_s(self) -> float:
        """Time to fill, typical."""
        return self.filling.time.time_s.rounded

    @property
    def pot_life_s(self) -> float | None:
        """Pot life, typical; None for a material without."""
        life = self.material_used.pot_life_s
        return None if life is None else life.typical

    @property
    def lifting_force_n(self) -> float:
        """Force that drives the halves apart, typical."""
        return self.holding.lifting_force_n.rounded

    @property
    def air(self) -> AirAnalysis:
        """Where air stays."""
        return self.filling.air

    @property
    def levels(self) -> tuple[LevelState, ...]:
        """The level at 10, 25, 50, 75 and 100 %."""
        return self.filling.levels

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        life = self.material_used.pot_life_s
        return {
            "material": self.material,
            "mass_g": self.mass_g,
            "parts_by_mass": self.parts_by_mass,
            "fill_time_s": self.fill_time_s,
            "pot_life_s": self.pot_life_s,
            "lifting_force_n": self.lifting_force_n,
            "findings": [finding.as_dict() for finding in self.findings],
            "fill_time_range_s": self.filling.time.time_s.as_dict(),
            "pot_life_range_s": None if life is None else life.as_dict(),
            "material_figures": self.material_used.as_dict(),
            "generic_figures": list(self.material_used.generic_figures),
            "quantities": self.quantities.as_dict(),
            "filling": _filling_as_dict(self.filling),
            "holding": self.holding.as_dict(),
            "shrinkage": self.shrinkage.as_dict(),
            "demoulding": [step.as_dict() for step in self.demoulding],
            "cautions": list(self.cautions),
            "not_known": list(self.not_known),
        }


def plan_pour(request: PourRequest, *, progress: Progress = SILENT) -> PourPlan:
    """Plan the pour of a cavity, with its mould or without.

    Parameters
    ----------
    request : PourRequest
        At least a cavity and a material.
    progress : Progress, optional
        Told after each step.

    Returns
    -------
    PourPlan
        Figures with their ranges, findings and cautions.

    Raises
    ------
    UsageError
        If a figure of the request is out of range.
    NotASolidError
        If a mesh of the request is not closed.
    CancelledError
        If the caller asked for it.

    Notes
    -----
    Ranges of the material run through every formula; bounds are those of the corners. Air by a rising
    level, flow by the balance of head, friction and kinetic energy, forces by hydrostatics.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import sphere
    >>> plan = plan_pour(PourRequest(cavity=sphere(20), material="addition-cure silicone"))
    >>> plan.parts_by_mass["A"] == plan.parts_by_mass["B"], plan.filling.advised_vents_mm
    (True, ())
    """
    material = request.resolved_material
    filling = plan_filling(request, progress=progress.part(0.0, 0.8))
    progress.step("forces", 0.8)
    holding = plan_holding(request, up=filling.up, surface_mm=filling.surface_mm)
    amounts = quantities(
        request.cavity.volume_mm3,
        material,
        channels_mm3=_channels_mm3(request, filling),
        film_mm=request.cup_film_mm,
        loss_share=request.loss_share,
    )
    shrinkage = shrinkage_report(
        np.ptp(request.cavity.bounds_mm, axis=0).tolist(),
        linear=material.shrinkage,
        allowed=request.shrinkage_allowed,
    )
    steps = demoulding_steps(
        material,
        pull_direction=None if request.pull_direction is None else list(request.pull_direction),
        undercut=request.undercut,
        bolts=request.bolts,
        pry_slots_mm=request.pry_slots_mm,
    )
    progress.step("plan", 1.0)
    return PourPlan(
        request=request,
        material_used=material,
        quantities=amounts,
        filling=filling,
        holding=holding,
        shrinkage=shrinkage,
        demoulding=steps,
        cautions=_cautions(material),
        not_known=_not_known(request),
        findings=judge(request, filling, holding, shrinkage),
    )


def _channels_mm3(request: PourRequest, filling: Filling) -> float:
    """Return the volume of the channels, without what of them lies inside the cavity."""
    if request.channels is None:
        return 0.0
    both = request.cavity.volume_mm3 + request.channels.volume_mm3
    overlap = both - filling.air.volume_mm3
    return request.channels.volume_mm3 - (overlap if overlap > _OVERLAP_SHARE * both else 0.0)


def _cautions(material: Material) -> tuple[str, ...]:
    return (
        cautions.RESEARCH_ONLY,
        cautions.DATA_SHEET_FIRST,
        *material.cautions,
        cautions.CLAMP_FIRST,
        cautions.PRY_AWAY,
        cautions.NO_SKIN_CONTACT,
    )


def _not_known(request: PourRequest) -> tuple[str, ...]:
    known: dict[str, bool] = {
        "the mould: its channels are left out of the quantities": request.has_mould,
        "the sprue: a common size is assumed": request.sprue is not None,
        "the pull direction: forces are for a parting across the pour direction": request.pull_direction
        is not None,
        "the wall of the mould: its bending is left out": request.wall_mm is not None,
        "the undercut: whether the casting comes out is not judged": request.undercut is not None,
        "the tolerance of the part: sizes are not judged": request.tolerance_mm is not None,
    }
    return tuple(text for text, is_known in known.items() if not is_known)


def _filling_as_dict(filling: Filling) -> dict[str, object]:
    sprue = filling.time.sprue
    return {
        "pour_up": np.asarray(filling.up + 0.0).tolist(),
        "trapped_mm3": filling.air.trapped_mm3,
        "air_pockets": [pocket.as_dict() for pocket in filling.air.pockets],
        "advised_vents_mm": [list(point) for point in filling.advised_vents_mm],
        "largest_pocket_left_mm3": filling.left_mm3,
        "levels": [_level_as_dict(state) for state in filling.levels],
        "height_mm": filling.height_mm,
        "flow": filling.time.flow.as_dict(),
        "sprue": {
            "exit_diameter_mm": sprue.exit_diameter_mm,
            "top_diameter_mm": sprue.top_mm,
            "length_mm": sprue.length_mm,
            "head_mm": sprue.head_mm,
            "assumed": filling.sprue_assumed,
            "advised_exit_diameter_mm": None
            if filling.advised_sprue_mm is None
            else Range.of(filling.advised_sprue_mm).rounded,
        },
        "free_fall_mm": filling.free_fall_mm,
        "vent_pressure_pa": filling.vent_pressure_pa,
        "bubble_time_s": filling.bubble_time_s,
        "level_ceiling_mm2": filling.level_ceiling_mm2,
    }


def _level_as_dict(state: LevelState) -> dict[str, object]:
    return {
        "fraction": state.fraction,
        "level_mm": state.level_mm,
        "liquid_mm3": state.liquid_mm3,
        "open_air_mm3": state.open_air_mm3,
        "sealed_air_mm3": state.sealed_air_mm3,
        "sealed_mm": [list(point) for point in state.sealed],
    }
