"""Least distance between solids."""

from mirrorprep.solid.solid import Solid


def least_gap_mm(first: Solid, second: Solid, *, reach_mm: float) -> float:
    """Return the least distance between two solids, or `reach_mm` when they are farther apart.

    Zero when they touch or overlap.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> least_gap_mm(box([2, 2, 2]), box([2, 2, 2], center_mm=[5, 0, 0]), reach_mm=10.0)
    3.0
    """
    return float(first.body.min_gap(second.body, float(reach_mm)))
