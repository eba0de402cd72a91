"""Undercut map: how deep the casting hooks behind the mould, where, and whether it comes free."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.column_raster import column_intervals
from mirrorprep.mould.parting import PartingSurface
from mirrorprep.mould.settings import FLEXIBLE_STRAIN
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
Point = tuple[float, float, float]

RIGID_SHARE = 1e-4
"""Share of the part's volume that two rigid halves may trap and still open: common practice, no source. It is
the play of a printed surface, some hundredths of a millimetre."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class UndercutMap:
    """What two halves trap, and how deep the casting hooks behind them.

    Depths are lateral: the distance from a place of trapped mould to the nearest place in the same slice
    across the pull that comes free. A flexible casting must give way by that much.

    Attributes
    ----------
    depth_mm : (m,) float64
        Depth beside each face of the part; 0 where the face comes free.
    median_mm, p95_mm, max_mm : float
        Depth over the trapped volume.
    trapped_mm3, deep_mm3 : float
        Trapped volume by voxels, and that of it which hooks deeper than 1 mm.
    strain : float
        Strain that a flexible casting takes beside 95 % of the trapped volume, by the rule for ring-shaped
        snap joints: a section of radius r behind a hook of depth y yields by y / (r + y). An estimate: a lip
        that can bend takes less.
    voxel_mm : float
        Edge of the voxels; depths are uncertain by half of it.
    where_mm : tuple of points
        The deepest hooks, in the part's coordinates, apart from one another.
    volume_mm3 : float
        The part's volume.
    """

    depth_mm: FloatArray
    median_mm: float
    p95_mm: float
    max_mm: float
    trapped_mm3: float
    deep_mm3: float
    strain: float
    voxel_mm: float
    where_mm: tuple[Point, ...]
    volume_mm3: float

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON, without the map."""
        names = ("median_mm", "p95_mm", "max_mm", "trapped_mm3", "deep_mm3", "strain", "voxel_mm")
        return {name: float(getattr(self, name)) for name in names}


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """Whether a casting comes out of two halves.

    Attributes
    ----------
    casting : str
        ``rigid`` or ``flexible``.
    releases : bool
        True when it comes out.
    sentence : str
        The reason, with value and limit.
    measured, limit : float
        What was compared: trapped share of the volume (rigid) or strain (flexible).
    finding : Finding or None
        The same as a finding, when it does not come out.
    """

    casting: str
    releases: bool
    sentence: str
    measured: float
    limit: float
    finding: Finding | None


def undercut_map(part: Solid, parting: PartingSurface, *, voxels: int = 160) -> UndercutMap:
    """Measure what the two halves of a parting trap, by voxels in the pull frame.

    Parameters
    ----------
    part : Solid
        The casting.
    parting : PartingSurface
        Where the halves meet.
    voxels : int
        Voxels along the part's longest side.

    Returns
    -------
    UndercutMap
        Depth per face, statistics over the trapped volume, and the strain of a flexible casting.

    Notes
    -----
    Ring-shaped snap joints: strain is undercut over diameter, both measured across (design guides for snap
    fits; from memory).

    Examples
    --------
    >>> from mirrorprep.mould.parting import find_parting
    >>> from mirrorprep.solid.primitives import box
    >>> part = box([20, 20, 20])
    >>> undercut_map(part, find_parting(part, pull_direction=[0, 0, 1], margin_mm=5.0)).max_mm
    0.0
    """
    points = part.mesh.vertices @ parting.frame
    low, high = points.min(axis=0), points.max(axis=0)
    spacing = float((high - low).max()) / voxels
    shape = tuple(int(n) for n in np.maximum(np.ceil((high - low) / spacing), 1))
    origin = (low + high) / 2.0 - spacing * (np.array(shape) - 1) / 2.0
    solid = _voxels(points, part.mesh.faces, origin, spacing, shape)
    trapped = _trapped(solid, parting, origin, spacing)
    depth, strain = _depths(solid, trapped, spacing)
    inside = depth[trapped]
    middles = part.mesh.triangles.mean(axis=1) @ parting.frame
    return UndercutMap(
        depth_mm=_beside(middles, depth, origin, spacing),
        median_mm=float(np.median(inside)) if len(inside) else 0.0,
        p95_mm=float(np.percentile(inside, 95)) if len(inside) else 0.0,
        max_mm=float(inside.max(initial=0.0)),
        trapped_mm3=len(inside) * spacing**3,
        deep_mm3=int((inside > 1.0).sum()) * spacing**3,
        strain=strain,
        voxel_mm=spacing,
        where_mm=_deepest(depth, origin, spacing, parting.frame),
        volume_mm3=part.volume_mm3,
    )


def _voxels(
    points: FloatArray, faces: NDArray[np.int64], origin: FloatArray, spacing: float, shape: tuple[int, ...]
) -> BoolArray:
    """Return which voxel middles lie inside, shape (nu, nv, nz)."""
    column, enter, leave = column_intervals(points, faces, origin[:2], spacing, (shape[0], shape[1]))
    steps = np.zeros((shape[0] * shape[1], shape[2] + 1), dtype=np.int16)
    first = np.clip(np.ceil((enter - origin[2]) / spacing), 0, shape[2]).astype(np.int64)
    last = np.clip(np.ceil((leave - origin[2]) / spacing), 0, shape[2]).astype(np.int64)
    np.add.at(steps, (column, first), 1)
    np.add.at(steps, (column, last), -1)
    return np.asarray(np.cumsum(steps, axis=1)[:, :-1].reshape(shape) > 0)


def _trapped(solid: BoolArray, parting: PartingSurface, origin: FloatArray, spacing: float) -> BoolArray:
    """Return the empty voxels that their own half cannot carry away: part lies in their way."""
    places = np.indices(solid.shape[:2]).reshape(2, -1).T * spacing + origin[:2]
    surface = parting.height_mm(places).reshape(*solid.shape[:2], 1)
    z = origin[2] + spacing * np.arange(solid.shape[2])
    above = np.logical_or.accumulate(solid[:, :, ::-1], axis=2)[:, :, ::-1]
    below = np.logical_or.accumulate(solid, axis=2)
    return np.asarray(~solid & np.where(z >= surface, above, below))


def _depths(solid: BoolArray, trapped: BoolArray, spacing: float) -> tuple[FloatArray, float]:
    """Return each trapped voxel's distance from what comes free in its slice, and the strain beside 95 %."""
    from scipy.ndimage import distance_transform_edt, label

    depth = np.zeros(solid.shape)
    strains = [np.zeros(1)]
    for k in np.flatnonzero(trapped.any(axis=(0, 1))):
        held, body = np.pad(trapped[:, :, k], 1), np.pad(solid[:, :, k], 1)
        away = distance_transform_edt(held | body) * spacing - spacing / 2.0
        depth[:, :, k] = np.where(held, away, 0.0)[1:-1, 1:-1]
        sections, count = label(body)
        if count:
            near = distance_transform_edt(~body, return_distances=False, return_indices=True)
            radius = np.sqrt(np.bincount(sections.ravel()) / np.pi) * spacing
            beside = radius[sections[near[0], near[1]]][held]
            strains.append(away[held] / (beside + away[held]))
    return depth, float(np.percentile(np.concatenate(strains), 95))


def _beside(points: FloatArray, depth: FloatArray, origin: FloatArray, spacing: float) -> FloatArray:
    """Return the greatest depth among the voxels around each point."""
    from scipy.ndimage import maximum_filter

    if not depth.any():
        return np.zeros(len(points))
    spread = maximum_filter(depth, size=3)
    index = np.rint((points - origin) / spacing).astype(np.int64)
    index = np.clip(index, 0, np.array(depth.shape) - 1)
    return np.asarray(spread[index[:, 0], index[:, 1], index[:, 2]])


def _deepest(depth: FloatArray, origin: FloatArray, spacing: float, frame: FloatArray) -> tuple[Point, ...]:
    """Return up to six places of deep hooks, each the deepest of its surroundings."""
    from scipy.ndimage import maximum_filter

    span = max(3, max(depth.shape) // 8)
    peak = np.argwhere((depth > 0.0) & (depth == maximum_filter(depth, size=span)))
    order = np.argsort(-depth[tuple(peak.T)], kind="stable")[:6]
    places = (origin + spacing * peak[order]) @ frame.T
    return tuple((float(x), float(y), float(z)) for x, y, z in places)


def verdict(
    undercut: UndercutMap,
    parting: PartingSurface,
    *,
    casting: str = "rigid",
    safe_strain: float = FLEXIBLE_STRAIN,
) -> Verdict:
    """Say whether a rigid or a flexible casting comes out of two rigid halves.

    Parameters
    ----------
    undercut : UndercutMap
        From `undercut_map`.
    parting : PartingSurface
        Its trapped volume is the finer measure.
    casting : str
        ``rigid`` or ``flexible``.
    safe_strain : float
        Strain that the flexible material is trusted with; `FLEXIBLE_STRAIN` where it is not known.

    Returns
    -------
    Verdict
        With one sentence and, when the casting is held, a finding: ``stop`` for a rigid casting and for a
        strain above the limit.
    """
    share = parting.trapped_mm3 / undercut.volume_mm3
    trapped = f"two rigid halves trap {parting.trapped_mm3:.3g} mm³ ({100 * share:.2g} % of the volume)"
    if share <= RIGID_SHARE and undercut.max_mm <= 1.5 * undercut.voxel_mm:
        sentence = f"A {casting} casting releases: {trapped}; the limit is {100 * RIGID_SHARE:g} %."
        return Verdict(
            casting=casting, releases=True, sentence=sentence, measured=share, limit=RIGID_SHARE, finding=None
        )
    hooks = f"{trapped}, hooked up to {undercut.max_mm:.1f} mm deep (95 % within {undercut.p95_mm:.1f} mm)"
    if casting == "rigid":
        return _held(
            "rigid",
            f"A rigid casting locks: {hooks}; the limit is {100 * RIGID_SHARE:g} % of the volume, and "
            f"hooks of {1.5 * undercut.voxel_mm:.2g} mm, the map's resolution.",
            (share, RIGID_SHARE),
            undercut,
            f"Cast a flexible material, fill the undercuts, or add a core or a third piece; no parting along "
            f"this pull traps less than {parting.bound_mm3:.3g} mm³.",
        )
    strain = f"a strain of about {100 * undercut.strain:.3g} % (limit {100 * safe_strain:.3g} %)"
    if undercut.strain > safe_strain:
        return _held(
            "flexible",
            f"A flexible casting locks: {hooks}, which asks for {strain}.",
            (undercut.strain, safe_strain),
            undercut,
            "Take a softer material, fill the undercuts, or add a core or a third piece.",
        )
    return Verdict(
        casting="flexible",
        releases=True,
        sentence=f"A flexible casting releases by flexing: {hooks}, which asks for {strain}.",
        measured=undercut.strain,
        limit=safe_strain,
        finding=None,
    )


def _held(
    casting: str, sentence: str, compared: tuple[float, float], undercut: UndercutMap, remedy: str
) -> Verdict:
    finding = Finding(
        code=f"{casting}-casting-locked",
        severity=Severity.STOP,
        message=sentence,
        where=undercut.where_mm,
        measured=compared[0],
        limit=compared[1],
        remedy=remedy,
    )
    return Verdict(
        casting=casting,
        releases=False,
        sentence=sentence,
        measured=compared[0],
        limit=compared[1],
        finding=finding,
    )
