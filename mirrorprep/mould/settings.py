"""Settings of a mould, checked when they are made."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.errors import UsageError
from mirrorprep.mould.hardware import NUT_MM

BODIES: Final = ("shell", "block", "cylinder")
PARTINGS: Final = ("auto", "plane", "contour")
CASTINGS: Final = ("rigid", "flexible")

FLEXIBLE_STRAIN: Final = 0.5
"""Strain that a flexible casting is trusted with when its material is not stated: common practice, no source;
data sheets give an elongation at break of several hundred per cent for soft silicones."""

KEY_CLEARANCE_MM: Final = {"fff": 0.35, "sla": 0.2, "sls": 0.3}
"""Gap between key and socket by print process, per side, for parts that slide together and come apart.
FFF with a 0.4 mm nozzle: 0.35–0.4 sliding; SLA: 0.15 tight to 0.3 loose (trade pages); SLS: from memory."""

MOST_CODE: Final = 32
"""Most letters of a job code."""

FEWEST_KEYS: Final = 4
"""Register keys on a short edge."""

LEAST_KEY_MM: Final = 0.5
"""Height below which a register key holds nothing: common practice, no source."""

MINIMUM_WALL_MM: Final = {"fff": 0.8, "sla": 1.0, "sls": 1.0}
"""Least wall by print process (several trade pages)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MouldSettings:
    """What the mould shall be like; the defaults suit a printed mould of a hand-sized part.

    Attributes
    ----------
    body : str
        ``shell`` (even wall around the part), ``block`` (box) or ``cylinder`` (upright round block).
    wall_mm : float
        Least wall between cavity and outside.
    parting : str
        ``auto``, ``plane`` or ``contour``.
    pull_direction, pour_up : (3,) or None
        Opening direction and the direction that is up while pouring, in the part's coordinates; searched
        when None. The up direction is turned into the plane across the pull direction.
    casting : str
        ``rigid`` or ``flexible``: decides whether an undercut stops the job.
    safe_strain : float
        Strain that a flexible casting is trusted with, of its material; above it an undercut stops the job.
    shrinkage : float or (3,)
        Linear shrinkage of the casting (0.01 is 1 %), equal or per axis of the part's coordinates; the
        cavity is scaled by 1 / (1 − shrinkage) about the part's centroid.
    flange_width_mm, flange_thickness_mm : float
        How far the flange reaches beyond the shell, and its thickness in each half.
    key_count : int or None
        Number of register keys, 0 or at least 2; one is larger, so that the halves close one way only. None
        counts them by the length of the edge, one for each 90 mm from 4 to 12 (common practice, no source).
    key_diameter_mm : float
        Diameter of the keys at the parting surface.
    key_clearance_mm : float or None
        Gap around a key; None takes the usual value of the print process.
    process : str
        ``fff``, ``sla`` or ``sls``.
    bolts : str
        ``none`` or a size such as ``M4``.
    bolt_count : int
        Number of clamp bolts.
    sprue_diameter_mm, vent_diameter_mm : float
        Diameters where the channels meet the cavity; they widen outward.
    cup_diameter_mm, cup_depth_mm : float
        Pouring cup at the top of the sprue; a diameter of 0 leaves it out.
    least_pocket_mm3 : float
        Air pockets above this volume get a vent.
    pry_slots, feet, marks : bool
        Slots for a lever at the parting surface; feet to stand on while pouring (shell); marks.
    job_code : str
        Up to 32 letters, digits or hyphens, cut into the bottom of both halves where they find room. No
        names of people.
    bed_mm : (3,)
        Room of the printer.
    grid_mm : float or None
        Grid spacing of the shell's distance field; None takes a third of the wall.

    Raises
    ------
    UsageError
        If a value is out of range.

    Examples
    --------
    >>> MouldSettings(body="block").key_gap_mm
    0.35
    """

    body: str = "shell"
    wall_mm: float = 6.0
    parting: str = "auto"
    pull_direction: tuple[float, float, float] | None = None
    pour_up: tuple[float, float, float] | None = None
    casting: str = "rigid"
    safe_strain: float = FLEXIBLE_STRAIN
    shrinkage: float | tuple[float, float, float] = 0.0
    flange_width_mm: float = 14.0
    flange_thickness_mm: float = 6.0
    key_count: int | None = None
    key_diameter_mm: float = 7.0
    key_clearance_mm: float | None = None
    process: str = "fff"
    bolts: str = "M4"
    bolt_count: int = 4
    sprue_diameter_mm: float = 8.0
    vent_diameter_mm: float = 2.0
    cup_diameter_mm: float = 24.0
    cup_depth_mm: float = 12.0
    least_pocket_mm3: float = 5.0
    pry_slots: bool = True
    feet: bool = True
    marks: bool = True
    job_code: str = ""
    bed_mm: tuple[float, float, float] = (220.0, 220.0, 250.0)
    grid_mm: float | None = None

    def __post_init__(self) -> None:
        for name in ("pull_direction", "pour_up", "bed_mm"):
            if getattr(self, name) is not None:
                object.__setattr__(self, name, _triple(name, getattr(self, name)))
        if not isinstance(self.shrinkage, int | float):
            object.__setattr__(self, "shrinkage", _triple("shrinkage", self.shrinkage))
        _choices(self)
        _ranges(self)
        _code(self.job_code)

    @property
    def keys_asked(self) -> int:
        """How many register keys are asked for; the fewest where the edge's length is to say."""
        return FEWEST_KEYS if self.key_count is None else self.key_count

    @property
    def key_gap_mm(self) -> float:
        """Gap between key and socket."""
        return KEY_CLEARANCE_MM[self.process] if self.key_clearance_mm is None else self.key_clearance_mm

    @property
    def key_height_mm(self) -> float:
        """Height of a register key over the parting surface: it leaves a wall behind its socket."""
        return min(0.55 * self.key_diameter_mm, self.flange_thickness_mm - self.key_gap_mm - 1.6)

    @property
    def cavity_scale(self) -> NDArray[np.float64]:
        """Scale of the cavity per axis, shape (3,)."""
        return np.asarray(1.0 / (1.0 - np.broadcast_to(np.asarray(self.shrinkage, dtype=np.float64), 3)))

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        return {field.name: getattr(self, field.name) for field in fields(self)}


def mould_settings(values: Mapping[str, Any]) -> MouldSettings:
    """Return settings from plain names and values, as a job file holds them.

    Raises
    ------
    UsageError
        For a name that is no setting, or a value out of range.

    Examples
    --------
    >>> mould_settings({"body": "block", "pull_direction": [0, 0, 1]}).pull_direction
    (0.0, 0.0, 1.0)
    """
    known = {field.name for field in fields(MouldSettings)}
    unknown = sorted(set(values) - known)
    if unknown:
        raise UsageError(
            f"'{unknown[0]}' is not a mould setting.", remedy=f"Use one of {', '.join(sorted(known))}."
        )
    return MouldSettings(**dict(values))


def _triple(name: str, value: Any) -> tuple[float, float, float]:  # noqa: ANN401 - whatever was given
    try:
        numbers = np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError):
        numbers = np.zeros(0)
    if numbers.shape != (3,) or not np.isfinite(numbers).all():
        raise UsageError(f"{name} is {value!r}, not three numbers.", remedy="Give three finite numbers.")
    return (float(numbers[0]), float(numbers[1]), float(numbers[2]))


def _choices(settings: MouldSettings) -> None:
    allowed: dict[str, tuple[str, ...]] = {
        "body": BODIES,
        "parting": PARTINGS,
        "casting": CASTINGS,
        "process": tuple(KEY_CLEARANCE_MM),
        "bolts": ("none", *NUT_MM),
    }
    for name, values in allowed.items():
        value = getattr(settings, name)
        if value not in values:
            raise UsageError(f"{name} is '{value}'.", remedy=f"Use one of {', '.join(values)}.")


def _ranges(settings: MouldSettings) -> None:
    limits: dict[str, tuple[float, float]] = {
        "safe_strain": (0.01, 10.0),
        "wall_mm": (MINIMUM_WALL_MM[settings.process], 100.0),
        "flange_width_mm": (4.0, 200.0),
        "flange_thickness_mm": (2.5, 100.0),
        "key_diameter_mm": (3.0, 60.0),
        "bolt_count": (0, 24),
        "sprue_diameter_mm": (2.0, 60.0),
        "vent_diameter_mm": (0.5, 10.0),
        "cup_diameter_mm": (0.0, 200.0),
        "cup_depth_mm": (0.0, 200.0),
        "least_pocket_mm3": (0.0, 1e6),
    }
    if settings.key_count is not None:
        limits["key_count"] = (0, 24)
    if settings.key_clearance_mm is not None:
        limits["key_clearance_mm"] = (0.0, 1.0)
    if settings.grid_mm is not None:
        limits["grid_mm"] = (0.05, 20.0)
    for name, (low, high) in limits.items():
        value = getattr(settings, name)
        if not (isinstance(value, int | float) and low <= value <= high):
            raise UsageError(f"{name} is {value!r}.", remedy=f"Give a number from {low:g} to {high:g}.")
    _keys(settings)
    shrinkage = np.asarray(settings.shrinkage)
    if not ((shrinkage > -0.2) & (shrinkage < 0.2)).all():
        raise UsageError(
            f"The shrinkage is {settings.shrinkage}.", remedy="Give a linear share such as 0.01 for 1 %."
        )
    if min(settings.bed_mm) <= 0:
        raise UsageError(f"The bed is {settings.bed_mm} mm.", remedy="Give three positive lengths.")


def _keys(settings: MouldSettings) -> None:
    if settings.key_count == 1:
        raise UsageError("One register key lets the halves turn.", remedy="Use 0 or at least 2 keys.")
    if settings.key_count != 0 and settings.key_height_mm < LEAST_KEY_MM:
        raise UsageError(
            f"A flange of {settings.flange_thickness_mm:g} mm leaves register keys "
            f"{max(settings.key_height_mm, 0.0):.2g} mm high (least {LEAST_KEY_MM:g} mm).",
            remedy="Give a thicker flange, a smaller key_clearance_mm, or key_count = 0.",
        )


def _code(code: str) -> None:
    allowed = set("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-")
    if len(code) > MOST_CODE or not set(code) <= allowed:
        raise UsageError(
            f"The job code '{code}' cannot be cut.",
            remedy=f"Use up to {MOST_CODE} capital letters, digits or hyphens.",
        )
