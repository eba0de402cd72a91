"""Verifying what a traveller says of the part, measured again from its file."""

from typing import Any, Final

from numpy.typing import ArrayLike

from mirrorprep.handover.figure_text import value_words
from mirrorprep.handover.traveller import Check
from mirrorprep.measurement.measure import measure
from mirrorprep.mould.undercut import trapped_volumes
from mirrorprep.pour.materials import find_material
from mirrorprep.solid.solid import Solid

_SLACK: Final = {"Area": 1e-5, "Mass when cast": 1e-5, "Thinnest wall": 0.02}
"""Relative change that 32-bit coordinates may cause; the thinnest wall is found among sampled places."""

_LENGTH_SLACK_MM: Final = 1e-3
_COLUMN_SLACK: Final = 1e-3
"""Share of the casting's volume by which columns may be off."""
_TWO_DIGITS: Final = 0.05
"""Relative change of a figure that is stated with two digits."""


def claimed(record: dict[str, Any], section: str, label: str) -> float | None:
    """Return the number that a traveller states under a heading, None where it states none."""
    for found in record["sections"]:
        for figure in found["figures"]:
            if found["title"] == section and figure["label"] == label:
                value = figure["value"]
                return float(value) if isinstance(value, (int, float)) else None
    return None


def part_checks(part: Solid, record: dict[str, Any]) -> list[Check]:
    """Return a check for each figure of the part: area, mass, thinnest wall and size.

    Parameters
    ----------
    part : Solid
        As read back.
    record : dict
        The JSON traveller.
    """
    density = _density(record["settings"])
    again = measure(part, density_g_cm3=density)
    found: list[tuple[str, str, float | None]] = [
        ("Area", "mm²", again.area_mm2),
        ("Mass when cast", "g", again.mass_g),
        ("Thinnest wall", "mm", again.min_wall_mm),
        *((f"Size along {axis}", "mm", float(size)) for axis, size in zip("xyz", again.size_mm, strict=True)),
    ]
    return [_figure_check(label, unit, value, claimed(record, "Part", label)) for label, unit, value in found]


def undercut_check(casting: Solid, pull: ArrayLike, record: dict[str, Any]) -> Check:
    """Return whether the stated trapped volume is at least the bound that no parting surface can go below.

    The bound is measured anew from the casting by columns along the pull direction; what the parting surface
    traps above it is not measured again.

    Parameters
    ----------
    casting : Solid
        As read back.
    pull : (3,) array_like
        Pull direction.
    record : dict
        The JSON traveller.
    """
    bound = trapped_volumes(casting, pull).bound_mm3
    stated = claimed(record, "Mould", "Trapped by rigid halves")
    slack = _COLUMN_SLACK * casting.volume_mm3
    return Check(
        claim="Rigid halves trap no more than stated",
        how="the least that any parting surface traps, by columns through casting.stl",
        measured=value_words(bound, unit="mm³"),
        limit=value_words(stated, unit="mm³"),
        holds=stated is not None and bound <= (1.0 + _TWO_DIGITS) * stated + slack,
    )


def _density(settings: dict[str, Any]) -> float:
    stated = settings.get("material.density_g_cm3")
    return float(stated or find_material(str(settings["material.name"])).density_g_cm3.typical)


def _figure_check(label: str, unit: str, value: float | None, stated: float | None) -> Check:
    if value is None or stated is None:
        holds = value is None and stated is None
    else:
        slack = _SLACK.get(label, 0.0) * abs(value) or _LENGTH_SLACK_MM
        holds = abs(value - stated) <= slack
    return Check(
        claim=f"Part: {label[0].lower()}{label[1:]} as stated",
        how="measured again from mirrored_part.stl",
        measured=value_words(value, unit=unit),
        limit=value_words(stated, unit=unit),
        holds=holds,
    )
