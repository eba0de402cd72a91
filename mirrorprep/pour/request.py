"""PourRequest: everything the plan of a pour is made from."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mirrorprep.errors import UsageError
from mirrorprep.pour.channel_flow import Sprue
from mirrorprep.pour.demoulding import Undercut
from mirrorprep.pour.fill_time import POT_LIFE_SHARE
from mirrorprep.pour.forces import CLAMP_FACTOR, DEFLECTION_SHARE, PRINTED_MODULUS_GPA
from mirrorprep.pour.materials import Material, find_material
from mirrorprep.pour.quantities import CUP_FILM_MM, LOSS_SHARE
from mirrorprep.pour.ranges import Range
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.solid import Solid

Point = tuple[float, float, float]

ASSUMED_SPRUE = Sprue(exit_diameter_mm=8.0, length_mm=30.0, head_mm=40.0)
"""Taken where no sprue is known: a hand-poured sprue of common size, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Vent:
    """A channel by which air leaves.

    Attributes
    ----------
    top_mm : (float, float, float)
        Middle of its opening.
    diameter_mm : float
        Narrowest diameter.
    length_mm : float
        From cavity to opening.
    """

    top_mm: Point
    diameter_mm: float
    length_mm: float

    def __post_init__(self) -> None:
        if not (self.diameter_mm > 0.0 and self.length_mm > 0.0):
            raise UsageError(
                f"A vent of {self.diameter_mm:g} × {self.length_mm:g} mm.", remedy="Give sizes above 0."
            )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PourRequest:
    """A cavity, what is known of its mould, the material, and the limits to hold it against.

    Only the cavity is needed: for a part without a mould the plan says what it had to assume. All places and
    directions are in the cavity's coordinates.

    Attributes
    ----------
    cavity : Solid
        The space that becomes the part, scaled for shrinkage as it will be poured.
    material : Material or str
        A material, or the name of a generic class.
    channels : Solid or None
        Sprue with cup, runners and vents, outside the cavity; they may touch or overlap it.
    pull_direction : (3,) or None
        Opening direction of half_a.
    pour_up : (3,) or None
        Against gravity while pouring; searched when None.
    sprue : Sprue or None
        Sizes and head; `ASSUMED_SPRUE` when None.
    sprue_top_mm, sprue_exit_mm : point or None
        Middle of its opening (the liquid's surface) and where it meets the cavity. Without the exit the
        sprue is taken to end at the cavity's top.
    vents : tuple of Vent
        Vents of the mould.
    projected_area_mm2 : float or None
        Area at the parting surface; computed from the cavity when None.
    upper_half_mass_g : float or None
        Mass of the half that is lifted, when the parting lies flat.
    bolts : int or None
        Number of clamp bolts.
    wall_mm : float or None
        Wall of a shell mould; None for a block.
    wall_modulus_gpa : Range
        Young's modulus of the mould.
    undercut : Undercut or None
        From the mould.
    pry_slots_mm : tuple of points
        Where a lever goes in.
    shrinkage_allowed : float or (3,)
        Linear shrinkage that the cavity was scaled for.
    tolerance_mm : float or None
        Of the part, plus or minus.
    print_process : str
        Of the mould, such as ``sla``; empty when unknown.
    clamp_factor, pot_life_share, deflection_share, loss_share, cup_film_mm : float
        Factors of common practice; each is reported with the result.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> PourRequest(cavity=box([10, 10, 10]), material="epoxy").has_mould
    False
    """

    cavity: Solid
    material: Material | str = "addition-cure silicone"
    channels: Solid | None = None
    pull_direction: Sequence[float] | NDArray[np.float64] | None = None
    pour_up: Sequence[float] | NDArray[np.float64] | None = None
    sprue: Sprue | None = None
    sprue_top_mm: Point | None = None
    sprue_exit_mm: Point | None = None
    vents: tuple[Vent, ...] = ()
    projected_area_mm2: float | None = None
    upper_half_mass_g: float | None = None
    bolts: int | None = None
    wall_mm: float | None = None
    wall_modulus_gpa: Range = PRINTED_MODULUS_GPA
    undercut: Undercut | None = None
    pry_slots_mm: tuple[Point, ...] = ()
    shrinkage_allowed: float | tuple[float, float, float] = 0.0
    tolerance_mm: float | None = None
    print_process: str = ""
    clamp_factor: float = CLAMP_FACTOR
    pot_life_share: float = POT_LIFE_SHARE
    deflection_share: float = DEFLECTION_SHARE
    loss_share: float = LOSS_SHARE
    cup_film_mm: float = CUP_FILM_MM

    def __post_init__(self) -> None:
        if self.cavity.is_empty:
            raise UsageError("The cavity is empty.", remedy="Give a solid with a volume.")
        if self.sprue_top_mm is not None and self.pour_up is None:
            raise UsageError(
                "A sprue is placed but the pour direction is not given.", remedy="Give pour_up as well."
            )
        positive = ("clamp_factor", "pot_life_share", "deflection_share", "projected_area_mm2", "wall_mm")
        for name in (*positive, "tolerance_mm"):
            value = getattr(self, name)
            if value is not None and not (np.isfinite(value) and value > 0.0):
                raise UsageError(f"{name} is {value!r}.", remedy="Give a number above 0.")

    @property
    def has_mould(self) -> bool:
        """True when channels or the place of the sprue are known."""
        return self.channels is not None or self.sprue_top_mm is not None

    @property
    def resolved_material(self) -> Material:
        """The material itself."""
        return find_material(self.material) if isinstance(self.material, str) else self.material

    @property
    def liquid_mesh(self) -> ScanMesh:
        """Cavity and channels as one mesh of shells that may touch or overlap."""
        mesh = self.cavity.mesh
        if self.channels is None or self.channels.is_empty:
            return mesh
        more = self.channels.mesh
        return ScanMesh(
            vertices=np.concatenate([mesh.vertices, more.vertices]),
            faces=np.concatenate([mesh.faces, more.faces + len(mesh.vertices)]),
        )
