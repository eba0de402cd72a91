"""What the seating is told."""

from dataclasses import asdict, dataclass, field
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.errors import UsageError
from mirrorprep.solid.mesh import frozen

KINDS: Final = ("auto", "plane", "box", "sphere", "loop")
_NUMBERS: Final = {"plane": 4, "box": 6, "sphere": 4}


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class DonorRegion:
    """Which part of the donor scan is taken.

    Attributes
    ----------
    kind : str
        ``auto``: what stands out and has no counterpart on the recipient; ``plane``: what lies in front of
        a plane; ``box``, ``sphere``: what lies inside; ``loop``: what a closed loop of surface points,
        joined by geodesic paths, encloses.
    numbers : tuple of float
        Plane: normal and offset. Box: two opposite corners. Sphere: centre and radius. In mm of the donor
        scan; empty otherwise.
    loop_mm : (n, 3) float64
        Points of a loop, the last repeating the first; empty otherwise.
    near_mm : tuple of float or None
        A place beside the wanted piece, where the selection consists of several; the largest otherwise.

    Examples
    --------
    >>> DonorRegion(kind="sphere", numbers=(0, 0, 0, 5)).kind
    'sphere'
    """

    kind: str = "auto"
    numbers: tuple[float, ...] = ()
    loop_mm: NDArray[np.float64] = field(default_factory=lambda: np.zeros((0, 3)))
    near_mm: tuple[float, float, float] | None = None

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise UsageError(f"'{self.kind}' is no kind of region.", remedy=f"Use {', '.join(KINDS)}.")
        need = _NUMBERS.get(self.kind, 0)
        if len(self.numbers) != need or not np.isfinite(self.numbers).all():
            raise UsageError(
                f"A region of kind '{self.kind}' has {len(self.numbers)} numbers, not {need}.",
                remedy="Give normal and offset, two corners, or centre and radius, in mm.",
            )
        if self.kind == "sphere" and not self.numbers[3] > 0.0:
            raise UsageError(
                f"The sphere has radius {self.numbers[3]:g} mm.", remedy="Give a positive radius."
            )
        if self.kind == "plane" and not np.any(self.numbers[:3]):
            raise UsageError("The plane has no normal.", remedy="Give three numbers, not all zero.")
        object.__setattr__(self, "loop_mm", _points(self.loop_mm))

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        return {
            "kind": self.kind,
            "numbers": list(self.numbers),
            "loop_mm": self.loop_mm.tolist(),
            "near_mm": None if self.near_mm is None else list(self.near_mm),
        }


def _points(values: ArrayLike) -> NDArray[np.float64]:
    points = np.array(values, dtype=np.float64).reshape(-1, 3)
    if not np.isfinite(points).all():
        raise UsageError("A point of the loop is not three finite numbers.", remedy="Correct the loop.")
    return frozen(points, np.float64)


@dataclass(frozen=True, slots=True, kw_only=True)
class Retention:
    """Simple features on the back that help to hold the part.

    Attributes
    ----------
    kind : str
        ``none``; ``holes`` into the back, blind; ``posts`` that stand out of the back.
    count : int
        How many.
    diameter_mm, length_mm : float
        Of each; the depth of a hole or the height of a post.
    """

    kind: Literal["none", "holes", "posts"] = "none"
    count: int = 3
    diameter_mm: float = 4.0
    length_mm: float = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SeatSettings:
    """How the part is cut, placed and fitted.

    Attributes
    ----------
    region : DonorRegion
        What is taken.
    mirrored : bool
        Mirror the donor (landmark route only; a plane always mirrors).
    grow_mm : float
        How far an automatic region is grown beyond what stands out.
    ring_mm : float
        Width of the ring of skin around the region that is registered.
    most_shift_mm, most_turn_deg : float
        How far the registration may move the part before the finding 'seat-moved-far' stops the job.
    edge_mm, edge_width_mm : float
        Thickness of the margin at its rim, and the width over which it thins to it.
    floor_mm : float
        Least thickness over the skin elsewhere.
    gap_mm : float
        Room for adhesive between back and skin.
    close_hollows : bool
        Close what dips below the recipient skin, such as an ear canal, with a floor.
    direction : tuple of float or None
        Direction in which the part is taken off the skin; the mean of the skin's normals when None.
    retention : Retention
        Features on the back.
    tolerance_mm, accuracy_mm : float or None
        Deviation that is accepted, and the scan's accuracy (one standard deviation), for the report.
    """

    region: DonorRegion = field(default_factory=DonorRegion)
    mirrored: bool = True
    grow_mm: float = 3.0
    ring_mm: float = 12.0
    most_shift_mm: float = 3.0
    most_turn_deg: float = 3.0
    edge_mm: float = 0.5
    edge_width_mm: float = 4.0
    floor_mm: float = 0.8
    gap_mm: float = 0.0
    close_hollows: bool = True
    direction: tuple[float, float, float] | None = None
    retention: Retention = Retention()
    tolerance_mm: float | None = None
    accuracy_mm: float | None = None

    def __post_init__(self) -> None:
        limits = {
            "grow_mm": (0.0, 60.0), "ring_mm": (2.0, 80.0), "edge_mm": (0.05, 10.0),
            "edge_width_mm": (0.2, 60.0), "floor_mm": (0.05, 20.0), "gap_mm": (0.0, 2.0),
            "most_shift_mm": (0.0, 50.0), "most_turn_deg": (0.0, 45.0),
        }  # fmt: skip
        for name, (low, high) in limits.items():
            value = getattr(self, name)
            if not low <= value <= high:
                raise UsageError(f"{name} is {value:g}.", remedy=f"Give a value from {low:g} to {high:g}.")
        if self.floor_mm < self.edge_mm:
            raise UsageError(
                f"floor_mm is {self.floor_mm:g}, less than edge_mm, {self.edge_mm:g}.",
                remedy="Give a floor at least as thick as the edge.",
            )

    def as_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        plain = {name: getattr(self, name) for name in self.__slots__}
        return {
            **plain,
            "region": self.region.as_dict(),
            "retention": asdict(self.retention),
            "direction": None if self.direction is None else list(self.direction),
        }
