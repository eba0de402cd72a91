"""The least wall that a casting material usually needs, and what to say where a part is thinner."""

from typing import Final

from mirrorprep.measurement.wall_thickness import WallThickness
from mirrorprep.solid.finding import Finding, Severity

LEAST_WALLS_MM: Final = {
    "addition-cure silicone": 0.5,
    "condensation-cure silicone": 0.5,
    "polyurethane": 1.0,
    "epoxy": 1.0,
    "cold-cure acrylic": 1.5,
    "casting wax": 1.5,
    "gypsum plaster": 4.0,
    "gypsum stone": 4.0,
}
"""Least walls by class of material; common practice, no source."""

FLEXIBLE_MM: Final = 0.5
RIGID_MM: Final = 1.5
RESOLUTION_MM: Final = 0.05


def least_wall_mm(material: str, *, flexible: bool) -> float:
    """Return the least wall of a class of material; for other names that of flexible or rigid ones.

    Common practice, no source: what fills, cures, leaves the mould and survives handling. A margin that is
    glued to skin is often thinner.

    Examples
    --------
    >>> least_wall_mm("casting wax", flexible=False), least_wall_mm("my mix", flexible=True)
    (1.5, 0.5)
    """
    return LEAST_WALLS_MM.get(material.casefold(), FLEXIBLE_MM if flexible else RIGID_MM)


def thin_share(walls: WallThickness, least_mm: float) -> float:
    """Return the share of the surface whose wall is thinner, beyond what the measurement resolves.

    Places without an opposite wall do not count as thin.
    """
    return float((walls.thickness_mm < least_mm - RESOLUTION_MM).mean())


def thin_walls(walls: WallThickness, least_mm: float) -> tuple[Finding, ...]:
    """Return the finding ``wall-thin`` where the part has a wall thinner than that."""
    smallest, share = walls.smallest_mm, thin_share(walls, least_mm)
    if not smallest < least_mm - RESOLUTION_MM:
        return ()
    x, y, z = walls.thinnest_at_mm.tolist()
    extent = "less than 1 %" if share < 0.01 else f"{100.0 * share:.0f} %"
    return (
        Finding(
            code="wall-thin",
            severity=Severity.CAUTION,
            message=f"The thinnest wall is {smallest:.2g} mm, near ({x:.0f}, {y:.0f}, {z:.0f}) mm; {extent} "
            f"of the surface has a wall below the {least_mm:g} mm that the material usually needs "
            "(common practice, no source).",
            where=((x, y, z),),
            measured=smallest,
            limit=least_mm,
            remedy="Thicken the part there (for a seated part: floor_mm, edge_mm), choose another material, "
            "or state least_wall_mm in [material] from your data sheet.",
        ),
    )
