"""Finding the mirror plane of a scan."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mirrorprep.errors import NoMirrorPlaneError, UsageError
from mirrorprep.progress import SILENT, Progress
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.solid import Solid
from mirrorprep.symmetry import coarse, lattice, refine
from mirrorprep.symmetry.cloud import Cloud, sample
from mirrorprep.symmetry.landmarks import Landmarks, landmark_plane
from mirrorprep.symmetry.lattice import Lattice
from mirrorprep.symmetry.region import Region
from mirrorprep.symmetry.result import MirrorPlaneResult, RankedPlane

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

__all__ = ["MirrorPlaneResult", "find_mirror_plane"]

KEPT = 6
SAME_DEG = 3.0
SAME_OFFSET = 0.015
JUDGED_POINTS = 4_000
TIGHT = (0.005, 0.01, 0.02)
MATCHED_WITHIN = 0.02
LEAST_GAP = 0.05
CAUTION_GAP = 0.10
LEAST_SLIP = 0.03
WEAK_RMS = 0.012
EFFECTIVE_POINTS = 400


@dataclass(frozen=True, slots=True, eq=False)
class _Judged:
    """Refined planes in the cloud's units with their figures; leading axis over the planes."""

    normals: FloatArray
    offsets: FloatArray
    scores: FloatArray
    shares: FloatArray
    rms: FloatArray
    p95: FloatArray
    information: FloatArray
    residual: FloatArray

    def ranked(self) -> "_Judged":
        kept: list[int] = []
        for index in np.argsort(-self.scores, kind="stable").tolist():
            if not any(_same(self.normals, self.offsets, index, other) for other in kept):
                kept.append(index)
        return _Judged(*(getattr(self, name)[kept] for name in self.__slots__))


def find_mirror_plane(
    scan: ScanMesh | Solid,
    *,
    landmarks: Landmarks | None = None,
    region: Region | None = None,
    seed: int = 0,
    choose: int = 1,
    progress: Progress = SILENT,
) -> MirrorPlaneResult:
    """Return the mirror plane of a scan, and how far to trust it.

    Parameters
    ----------
    scan : ScanMesh or Solid
        Open, damaged or cluttered as it may be.
    landmarks : Landmarks, optional
        Midline points and left-right pairs, where the search then starts.
    region : Region, optional
        What to use or to leave out.
    seed : int
        Start of the random samples; the same scan and seed give the same result, bit for bit.
    choose : int
        Which of the ranked planes to take, counted from 1.
    progress : Progress
        Reporter.

    Returns
    -------
    MirrorPlaneResult
        Never a silent guess: when another plane fits about as well, or a whole family does, the status is
        ``ambiguous`` and a finding says so.

    Raises
    ------
    NoMirrorPlaneError
        If no plane matches any part of the scan.
    UsageError
        If `choose` is not one of the ranked planes.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> result = find_mirror_plane(box([20, 30, 50]))
    >>> result.status
    'ambiguous'
    """
    mesh = scan.mesh if isinstance(scan, Solid) else scan
    used = mesh if region is None else mesh.with_geometry(mesh.vertices, mesh.faces[region.mask(mesh)])
    progress.step("sampling the scan", 0.0)
    cloud = sample(used, seed=seed)
    progress.step("searching every direction", 0.15)
    grid = lattice.build(cloud)
    normals, offsets, _ = coarse.candidates(cloud, grid, seed=seed)
    if landmarks is not None:
        normals, offsets = _seeded(cloud, landmarks, normals, offsets)
    progress.step("refining", 0.5)
    normals, offsets = refine.refined(cloud, grid, normals, offsets, seed=seed)
    normals, offsets = _merged(cloud, grid, normals, offsets, seed=seed)
    progress.step("polishing", 0.7)
    normals, offsets, information, residual = refine.polished(cloud, normals, offsets, seed=seed)
    progress.step("judging", 0.9)
    judged = _judge(cloud, grid, normals, offsets, information, residual, seed=seed).ranked()
    if not judged.shares[0, 0] > 0.0:
        raise NoMirrorPlaneError("No plane matches any part of the scan.", remedy="Check the scan.")
    if not 1 <= choose <= len(judged.scores):
        raise UsageError(
            f"Plane {choose} was asked for, but {len(judged.scores)} were found.",
            remedy=f"Choose 1 to {len(judged.scores)}.",
        )
    settings: dict[str, object] = {
        "seed": seed,
        "choose": choose,
        "landmarks": None if landmarks is None else landmarks.as_dict(),
        "region": None if region is None else region.as_dict(),
    }
    return _answer(cloud, judged, choose, settings)


def _seeded(
    cloud: Cloud, landmarks: Landmarks, normals: FloatArray, offsets: FloatArray
) -> tuple[FloatArray, FloatArray]:
    plane = landmark_plane(landmarks).plane
    offset = (plane.offset_mm - float(plane.normal @ cloud.center_mm)) / cloud.scale_mm
    return np.vstack([plane.normal, normals]), np.append(offset, offsets)


def _score_planes(
    cloud: Cloud,
    grid: Lattice,
    normals: FloatArray,
    offsets: FloatArray,
    sigmas: tuple[float, ...],
    *,
    seed: int,
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Return scores (k, sigmas), distances (k, p) and excused (k, p) at many points."""
    rng = np.random.default_rng(seed + 2)
    chosen = np.sort(rng.choice(len(cloud.points), JUDGED_POINTS, replace=False))
    images = refine.Images.of(cloud.smooth_points[chosen], cloud.smooth_normals[chosen], normals, offsets)
    found = refine.nearest_pairs(cloud, images)
    cell = grid.cells(*np.moveaxis(images.image.astype(np.float32), -1, 0))
    excused = grid.excused[cell]
    distance, facing = found.distance, np.maximum(found.facing, 0.0) ** 2
    height = np.einsum("kpi,ki->kp", images.points, normals) - offsets[:, None]
    scores = [coarse.combined(np.exp(distance**2 / (-2.0 * s * s)) * facing, height, excused) for s in sigmas]
    return np.stack(scores, axis=1), distance, excused


def _merged(
    cloud: Cloud, grid: Lattice, normals: FloatArray, offsets: FloatArray, *, seed: int
) -> tuple[FloatArray, FloatArray]:
    scores = _score_planes(cloud, grid, normals, offsets, (coarse.SIGMA, *TIGHT), seed=seed)[0]
    total = scores[:, 0] * (scores[:, 0] + scores[:, 1:].mean(axis=1))
    kept: list[int] = []
    for index in np.argsort(-total, kind="stable"):
        if len(kept) < KEPT and not any(_same(normals, offsets, index, other) for other in kept):
            kept.append(int(index))
    return normals[kept], offsets[kept]


def _same(normals: FloatArray, offsets: FloatArray, one: int, other: int) -> bool:
    dot = float(normals[one] @ normals[other])
    near = abs(dot) > np.cos(np.radians(SAME_DEG))
    return bool(near and abs(offsets[one] - np.sign(dot) * offsets[other]) < SAME_OFFSET)


def _judge(
    cloud: Cloud,
    grid: Lattice,
    normals: FloatArray,
    offsets: FloatArray,
    information: FloatArray,
    residual: FloatArray,
    *,
    seed: int,
) -> _Judged:
    scores, distance, excused = _score_planes(
        cloud, grid, normals, offsets, (coarse.SIGMA, *TIGHT), seed=seed
    )
    matched = distance < MATCHED_WITHIN
    shares = np.stack([matched, ~matched & excused, ~matched & ~excused], axis=1).mean(axis=2)
    near = [row[keep] if keep.any() else np.zeros(1) for row, keep in zip(distance, matched, strict=True)]
    return _Judged(
        normals=normals,
        offsets=offsets,
        scores=scores[:, 0] * (scores[:, 0] + scores[:, 1:].mean(axis=1)) / 2.0,
        shares=shares,
        rms=np.array([np.sqrt((row**2).mean()) for row in near]),
        p95=np.array([np.percentile(row, 95.0) for row in near]),
        information=information,
        residual=residual,
    )


def _answer(cloud: Cloud, judged: _Judged, choose: int, settings: dict[str, object]) -> MirrorPlaneResult:
    taken = choose - 1
    planes = [
        Plane(normal=n, offset_mm=d * cloud.scale_mm + float(n @ cloud.center_mm))
        for n, d in zip(*_facing(judged.normals, judged.offsets), strict=True)
    ]
    values, vectors = np.linalg.eigh(judged.information[taken])
    slip = np.sqrt(np.maximum(values, 0.0))
    deviation = judged.residual[taken] * np.sqrt(1.0 / np.maximum(values, 1e-12) / EFFECTIVE_POINTS)
    tilt = float(np.sqrt(((vectors[:2] * deviation) ** 2).sum()))
    shift = float(np.sqrt(((vectors[2] * deviation) ** 2).sum()))
    axis = _free_axis(judged.normals[taken], vectors[:, 0]) if slip[0] < LEAST_SLIP else None
    gap = 1.0 - judged.scores[1] / judged.scores[0] if len(judged.scores) > 1 else 1.0
    findings = _findings(judged, float(gap), axis)
    ambiguous = axis is not None or gap < LEAST_GAP
    weak = judged.rms[taken] > WEAK_RMS
    return MirrorPlaneResult(
        plane=planes[taken],
        status="ambiguous" if ambiguous else "weak" if weak else "clear",
        asymmetry_rms_mm=float(judged.rms[taken]) * cloud.scale_mm,
        asymmetry_p95_mm=float(judged.p95[taken]) * cloud.scale_mm,
        sd_deg=float(np.degrees(tilt)),
        sd_mm=shift * cloud.scale_mm,
        matched_share=float(judged.shares[taken, 0]),
        unknown_share=float(judged.shares[taken, 1]),
        contradicted_share=float(judged.shares[taken, 2]),
        slip=(float(slip[0]), float(slip[1]), float(slip[2])),
        free_axis=axis,
        alternatives=tuple(
            RankedPlane(plane=plane, score=float(score))
            for plane, score in zip(planes, judged.scores, strict=True)
        ),
        choice=choose,
        findings=tuple(findings),
        settings=settings,
    )


def _facing(normals: FloatArray, offsets: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the planes with the largest component of each normal positive."""
    largest = np.take_along_axis(normals, np.abs(normals).argmax(axis=1)[:, None], axis=1)[:, 0]
    sign = np.where(largest < 0.0, -1.0, 1.0)
    return normals * sign[:, None], offsets * sign


def _free_axis(normal: FloatArray, loose: FloatArray) -> tuple[float, float, float]:
    u, v = refine.tangents(normal[None])
    turned = loose[0] * u[0] + loose[1] * v[0]
    axis = np.cross(normal, turned) if np.linalg.norm(turned) > 0.3 else normal
    axis = axis / np.linalg.norm(axis)
    axis = axis * (1.0 if axis[np.abs(axis).argmax()] > 0.0 else -1.0)
    return float(axis[0]), float(axis[1]), float(axis[2])


def _findings(judged: _Judged, gap: float, axis: tuple[float, float, float] | None) -> list[Finding]:
    found = []
    if axis is not None:
        named = ", ".join(f"{component:.3f}" for component in axis)
        found.append(
            Finding(
                code="mirror-plane-family",
                severity=Severity.STOP,
                message=f"Any plane of a family about or along the axis ({named}) mirrors the scan as well.",
                remedy="Give landmarks, or leave out a region, or choose a plane yourself.",
            )
        )
    if gap < CAUTION_GAP:
        stop = gap < LEAST_GAP
        found.append(
            Finding(
                code="mirror-plane-ambiguous" if stop else "mirror-plane-close-second",
                severity=Severity.STOP if stop else Severity.CAUTION,
                message=f"A second plane fits about as well: its score is {100 * gap:.1f} % lower.",
                measured=gap,
                limit=LEAST_GAP if stop else CAUTION_GAP,
                remedy="Look at the alternatives and choose one, or give landmarks.",
            )
        )
    if judged.rms[0] > WEAK_RMS:
        found.append(
            Finding(
                code="mirror-plane-weak",
                severity=Severity.CAUTION,
                message="The scan is hardly symmetric about the best plane.",
                measured=float(judged.rms[0]),
                limit=WEAK_RMS,
                remedy="Use a region of the scan that is known to be symmetric, or landmarks.",
            )
        )
    return found
