"""MendSettings: which steps of mending to take and how far they may go."""

from dataclasses import dataclass

import numpy as np

from mirrorprep.errors import UsageError


@dataclass(frozen=True, slots=True, kw_only=True)
class MendSettings:
    """Which steps to take, and their limits.

    Attributes
    ----------
    weld, drop_faulty_faces, drop_islands, orient, split, flatten_spikes, fill_holes : bool
        The steps, in this order.
    remove_self_intersections : bool
        The step after these.
    remake_mm : float or None
        If given and the steps before leave no solid without self-intersections, the surface is remade from
        its winding-number field sampled at this spacing: the last resort.
    weld_mm : float or None
        Vertices on open edges within this distance are joined; None takes a millionth of the diagonal.
    island_share, open_island_share : float
        Closed and open bodies of less than this share of the largest body's area are dropped.
    spike_slenderness : float
        Least height of a spike over the mean radius of its foot.
    smooth_angle_deg : float
        Holes whose plane the surface meets at less than this angle are filled with curvature continued, the
        others capped with the least area; 0 caps all.
    most_added_share : float
        The result is refused when more than this share of its area was made up (remaking apart).
    most_dropped_share : float
        The result is refused when islands of more than this share of the scan's area were dropped.
    most_moved_mm : float or None
        If given, the result is refused when a vertex moved further.

    Raises
    ------
    UsageError
        If a value lies outside its range.

    Examples
    --------
    >>> MendSettings(fill_holes=False).fill_holes
    False
    """

    weld: bool = True
    drop_faulty_faces: bool = True
    drop_islands: bool = True
    orient: bool = True
    split: bool = True
    flatten_spikes: bool = True
    fill_holes: bool = True
    remove_self_intersections: bool = True
    remake_mm: float | None = None
    weld_mm: float | None = None
    island_share: float = 0.005
    open_island_share: float = 0.02
    spike_slenderness: float = 2.5
    smooth_angle_deg: float = 60.0
    most_added_share: float = 0.5
    most_dropped_share: float = 0.25
    most_moved_mm: float | None = None

    def __post_init__(self) -> None:
        for name in ("island_share", "open_island_share", "most_added_share", "most_dropped_share"):
            _within(name, getattr(self, name), 0.0, 1.0)
        _within("smooth_angle_deg", self.smooth_angle_deg, 0.0, 90.0)
        _within("spike_slenderness", self.spike_slenderness, 1.0, np.inf)
        for name in ("weld_mm", "most_moved_mm"):
            if getattr(self, name) is not None:
                _within(name, getattr(self, name), 0.0, 1e6)
        if self.remake_mm is not None:
            _within("remake_mm", self.remake_mm, 1e-6, 1e6)


def _within(name: str, value: float, low: float, high: float) -> None:
    if not low <= value <= high:
        raise UsageError(f"{name} is {value:g}.", remedy=f"Give {low:g} to {high:g}.")
