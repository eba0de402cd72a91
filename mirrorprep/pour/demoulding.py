"""Demoulding: in which order, in which direction, what to flex and where to pry."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from mirrorprep import cautions
from mirrorprep.pour.materials import Material
from mirrorprep.solid.finding import Finding, Severity

Point = tuple[float, float, float]

RIGID_HOOK_MM = 0.05
"""Depth of undercut that a rigid casting and printed halves still pass: common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Undercut:
    """What holds the casting back, as measured on the mould.

    Attributes
    ----------
    depth_mm : float
        Deepest sideways hook.
    strain : float or None
        Strain that a flexible casting takes when it leaves; None when unknown.
    trapped_mm3 : float
        Volume that rigid halves would hold back.
    where_mm : tuple of points
        Places of the deepest hooks.
    """

    depth_mm: float
    strain: float | None = None
    trapped_mm3: float = 0.0
    where_mm: tuple[Point, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class DemouldingStep:
    """One step.

    Attributes
    ----------
    number : int
        Counted from 1.
    action : str
        What to do.
    direction : tuple of 3 floats or None
        Which way, in the part's coordinates.
    where_mm : tuple of points
        Where, if it is not everywhere.
    """

    number: int
    action: str
    direction: Point | None = None
    where_mm: tuple[Point, ...] = ()

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        return {
            "number": self.number,
            "action": self.action,
            "direction": None if self.direction is None else list(self.direction),
            "where_mm": [list(point) for point in self.where_mm],
        }


def demoulding_steps(
    material: Material,
    *,
    pull_direction: Sequence[float] | None,
    undercut: Undercut | None = None,
    bolts: int | None = None,
    pry_slots_mm: tuple[Point, ...] = (),
) -> tuple[DemouldingStep, ...]:
    """Return the steps from the full mould to the trimmed casting.

    Parameters
    ----------
    material : Material
        Decides between bending and straight pulling.
    pull_direction : (3,) or None
        Opening direction of half_a; None when there is no mould yet.
    undercut : Undercut, optional
        What holds the casting back.
    bolts : int, optional
        Number of clamp bolts.
    pry_slots_mm : tuple of points, optional
        Where a lever goes in.

    Examples
    --------
    >>> from mirrorprep.pour.materials import find_material
    >>> steps = demoulding_steps(find_material("epoxy"), pull_direction=(0, 0, 1), bolts=4)
    >>> steps[0].action
    'Let the casting set for the demoulding time of the data sheet; do not go by touch at the sprue.'
    """
    steps: list[tuple[str, Point | None, tuple[Point, ...]]] = [(_wait(material), None, ())]
    fastened = f"the {bolts} bolts" if bolts else "the clamps"
    steps.append((f"Loosen {fastened} crosswise, a turn at a time, then take them out.", None, ()))
    steps.append(("Cut the sprue and the vents flush with the mould, so that nothing locks.", None, ()))
    if pull_direction is not None:
        steps += _opening(material, pull_direction, undercut, pry_slots_mm)
    steps.append(
        ("Trim sprue, vents and flash, away from the hand; keep the off-cuts with the job.", None, ())
    )
    return tuple(
        DemouldingStep(number=i, action=action, direction=direction, where_mm=where)
        for i, (action, direction, where) in enumerate(steps, start=1)
    )


def _wait(material: Material) -> str:
    if material.melted:
        return "Let the casting cool slowly to room temperature all through; do not chill it."
    if "water" in material.mix.names:
        return "Let the casting set until it has warmed up and cooled again; it is weak while it is warm."
    return "Let the casting set for the demoulding time of the data sheet; do not go by touch at the sprue."


def _opening(
    material: Material,
    pull_direction: Sequence[float],
    undercut: Undercut | None,
    pry_slots_mm: tuple[Point, ...],
) -> list[tuple[str, Point | None, tuple[Point, ...]]]:
    along = _point(pull_direction)
    against = _point(np.negative(pull_direction))
    hooked = undercut is not None and undercut.depth_mm > RIGID_HOOK_MM
    slots = _spread(pry_slots_mm)
    where = "at the pry slots, one after the other" if slots else "at the flange, all round"
    steps: list[tuple[str, Point | None, tuple[Point, ...]]] = [
        (f"Open the parting by a millimetre {where}. {cautions.PRY_AWAY}", None, slots),
        ("Draw half_a straight along the pull direction, without turning it.", along, ()),
    ]
    if hooked and undercut is not None and material.flexible:
        peel = (
            "Peel the casting out of half_b from its edge inwards; bend it clear of its hooks last: "
            f"they are up to {undercut.depth_mm:.1f} mm deep."
        )
        steps.append((peel, against, undercut.where_mm))
    elif material.flexible:
        steps.append(("Lift the casting out of half_b from its edge inwards.", along, ()))
    else:
        steps.append(
            ("Tap half_b and draw it straight off the casting; do not bend the casting.", against, ())
        )
    return steps


def _spread(points: tuple[Point, ...]) -> tuple[Point, ...]:
    """Return the points so that each is far from those before it: opposite sides take turns."""
    left, order = list(points), list(points[:1])
    while len(order) < len(left):
        rest = [p for p in left if p not in order]
        if not rest:
            break
        order.append(max(rest, key=lambda p: min(float(np.linalg.norm(np.subtract(p, q))) for q in order)))
    return tuple(order)


def _point(vector: Sequence[float] | np.ndarray) -> Point:
    x, y, z = (np.asarray(vector, dtype=np.float64) + 0.0).tolist()
    return x, y, z


def undercut_findings(material: Material, undercut: Undercut | None) -> tuple[Finding, ...]:
    """Return what stands against taking the casting out.

    Examples
    --------
    >>> from mirrorprep.pour.materials import find_material
    >>> undercut_findings(find_material("epoxy"), Undercut(depth_mm=2.0))[0].code
    'rigid-casting-hooked'
    """
    if undercut is None or undercut.depth_mm <= RIGID_HOOK_MM:
        return ()
    hooks = f"The casting hooks behind the mould by up to {undercut.depth_mm:.2f} mm"
    if not material.flexible:
        return (
            Finding(
                code="rigid-casting-hooked",
                severity=Severity.STOP,
                message=f"{hooks}; rigid {material.name} releases up to {RIGID_HOOK_MM:g} mm.",
                where=undercut.where_mm,
                measured=undercut.depth_mm,
                limit=RIGID_HOOK_MM,
                remedy="Cast a flexible material, choose another pull direction, or add a core or a piece.",
            ),
        )
    if undercut.strain is None or material.safe_strain is None:
        return (
            Finding(
                code="demoulding-strain-unknown",
                severity=Severity.CAUTION,
                message=f"{hooks}; the strain that this asks of {material.name} is unknown.",
                where=undercut.where_mm,
                measured=undercut.depth_mm,
                remedy="Peel slowly, and try the thinnest place of a waste casting first.",
            ),
        )
    if undercut.strain <= material.safe_strain.low:
        return ()
    over = undercut.strain > material.safe_strain.high
    return (
        Finding(
            code="demoulding-strain-high",
            severity=Severity.STOP if over else Severity.CAUTION,
            message=(
                f"{hooks}: a strain of {100 * undercut.strain:.0f} %, where {material.name} takes "
                f"{100 * material.safe_strain.low:.0f} to {100 * material.safe_strain.high:.0f} %."
            ),
            where=undercut.where_mm,
            measured=undercut.strain,
            limit=material.safe_strain.low,
            remedy="Take a material with more stretch, thicken the thin place, or add a core or third piece.",
        ),
    )
