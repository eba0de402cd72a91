"""Decimation: fewer triangles within a stated tolerance, with the deviation measured."""

from dataclasses import dataclass
from typing import Final

from mirrorprep.condition.deviation import SurfaceDeviation, deviation_between
from mirrorprep.errors import UsageError
from mirrorprep.progress import SILENT, Progress
from mirrorprep.solid.certify import certify
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.solid import Solid

_ROUNDS: Final = 12
_COARSEST_SHARE: Final = 0.1
_FINEST_SHARE: Final = 1e-6


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class DecimateResult:
    """A solid with fewer triangles.

    Attributes
    ----------
    solid : Solid
        Certified.
    tolerance_mm : float
        The tolerance it was simplified with.
    triangles_before, triangles_after : int
        Sizes.
    deviation : SurfaceDeviation
        Between the two surfaces.
    volume_change_mm3 : float
        After less before.
    """

    solid: Solid
    tolerance_mm: float
    triangles_before: int
    triangles_after: int
    deviation: SurfaceDeviation
    volume_change_mm3: float

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        return {
            "triangles_before": self.triangles_before,
            "triangles_after": self.triangles_after,
            "tolerance_mm": self.tolerance_mm,
            "max_deviation_mm": self.deviation.max_mm,
            "rms_deviation_mm": self.deviation.rms_mm,
            "volume_change_mm3": self.volume_change_mm3,
        }


def decimate(
    part: ScanMesh | Solid,
    *,
    tolerance_mm: float | None = None,
    triangles: int | None = None,
    progress: Progress = SILENT,
) -> DecimateResult:
    """Return a solid with fewer triangles and how far it lies from the given one.

    Parameters
    ----------
    part : ScanMesh or Solid
        A mesh must be a solid already.
    tolerance_mm : float, optional
        Vertices go that lie within this distance of what remains; shape larger than that is kept.
    triangles : int, optional
        Instead of a tolerance: the smallest tolerance (to a tenth) is sought that leaves at most so many.
    progress : Progress
        Told about each part.

    Raises
    ------
    UsageError
        Unless exactly one of tolerance and number is given and positive.
    NotASolidError
        If a mesh is no solid.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import sphere
    >>> fewer = decimate(sphere(20.0, segments=128), tolerance_mm=0.05)
    >>> fewer.triangles_after < fewer.triangles_before, fewer.deviation.max_mm < 0.1
    (True, True)
    """
    if (tolerance_mm is None) == (triangles is None):
        raise UsageError("Decimation needs a tolerance or a number of triangles.", remedy="Give one of them.")
    if tolerance_mm is not None and not tolerance_mm > 0.0:
        raise UsageError(
            f"A tolerance of {tolerance_mm:g} mm is not possible.", remedy="Give more than 0 mm."
        )
    if triangles is not None and triangles < 4:
        raise UsageError(f"A solid cannot have {triangles} triangles.", remedy="Give 4 or more.")
    solid = part if isinstance(part, Solid) else certify(part)
    progress.step("decimating", 0.0)
    used = tolerance_mm if tolerance_mm is not None else _tolerance_for(solid, int(triangles or 4))
    fewer = solid.simplified(used)
    progress.step("measuring the deviation", 0.6)
    result = DecimateResult(
        solid=fewer,
        tolerance_mm=used,
        triangles_before=len(solid.mesh.faces),
        triangles_after=len(fewer.mesh.faces),
        deviation=deviation_between(solid.mesh, fewer.mesh),
        volume_change_mm3=fewer.volume_mm3 - solid.volume_mm3,
    )
    progress.step("decimated", 1.0)
    return result


def _tolerance_for(solid: Solid, triangles: int) -> float:
    """Return the smallest tolerance, to about a tenth, that leaves at most so many triangles."""
    diagonal = solid.mesh.diagonal_mm
    low, high = _FINEST_SHARE * diagonal, _COARSEST_SHARE * diagonal
    if len(solid.simplified(high).mesh.faces) > triangles:
        raise UsageError(
            f"Even at a tolerance of {high:.3g} mm more than {triangles} triangles remain.",
            remedy="Ask for more triangles.",
        )
    for _ in range(_ROUNDS):
        if high / low < 1.1:
            break
        middle = (low * high) ** 0.5
        few_enough = len(solid.simplified(middle).mesh.faces) <= triangles
        low, high = (low, middle) if few_enough else (middle, high)
    return float(high)
