"""Finding the mirror plane of a scan."""

import numpy as np
from numpy.typing import NDArray

from mirrorprep.errors import NoMirrorPlaneError, UsageError
from mirrorprep.progress import SILENT, Progress
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.solid import Solid
from mirrorprep.symmetry import coarse, lattice
from mirrorprep.symmetry.cloud import Cloud, sample
from mirrorprep.symmetry.doubt import disagreement, doubt, findings
from mirrorprep.symmetry.hint import Hint
from mirrorprep.symmetry.judge import Judged, judge, triage
from mirrorprep.symmetry.landmarks import LandmarkPlane, Landmarks, landmark_plane
from mirrorprep.symmetry.mixture import REACH
from mirrorprep.symmetry.newton import tangents
from mirrorprep.symmetry.refine import polished, refined
from mirrorprep.symmetry.region import Region
from mirrorprep.symmetry.result import MirrorPlaneResult, RankedPlane

__all__ = ["MirrorPlaneResult", "find_mirror_plane"]

FloatArray = NDArray[np.float64]

FIRST_KEPT, FIRST_POINTS, FIRST_STEPS = 8, 800, 5
LAST_KEPT, LAST_POINTS, LAST_STEPS = 5, 4_000, 5
NOISY_POINTS = 20_000
MATCHED_WIDTHS = 5.0
CALIBRATION = 1.5
MATCHED_LEAST = 0.005


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
        Midline points and left-right pairs: the search starts there as well, and planes near theirs come
        first.
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

    Notes
    -----
    Every direction and offset is tried on a lattice of nearest samples; what reaches beyond an open border
    counts as unknown. The best are refined as reflections, not as rigid motions, by expectation-
    maximisation of a mixture of followers and strays, and ranked by the evidence in nats. Standard
    deviations are cluster-robust.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> result = find_mirror_plane(box([20, 30, 50]))
    >>> result.status
    'ambiguous'
    """
    mesh = scan.mesh if isinstance(scan, Solid) else scan
    used = mesh if region is None else mesh.with_geometry(mesh.vertices, mesh.faces[region.mask(mesh)])
    marked = None if landmarks is None else landmark_plane(landmarks)
    progress.step("sampling the scan", 0.0)
    cloud = sample(used, seed=seed)
    hint = None if marked is None else Hint.of(marked, cloud)
    judged = _searched(cloud, hint, seed=seed, progress=progress)
    if not np.isfinite(judged.residual[0]).any():
        raise NoMirrorPlaneError(
            "No plane maps any part of the scan onto another.",
            remedy="Check the scan with 'mirrorprep check'.",
        )
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
    return _answer(cloud, judged, marked, hint, settings)


def _searched(cloud: Cloud, hint: Hint | None, *, seed: int, progress: Progress) -> Judged:
    grid = lattice.build(cloud)
    progress.step("searching every direction", 0.15)
    normals, offsets, _ = coarse.candidates(cloud, grid, seed=seed)
    if hint is not None:
        normals, offsets = np.vstack([hint.normal, normals]), np.append(hint.offset, offsets)
    progress.step("refining", 0.5)
    normals, offsets = refined(cloud, grid, normals, offsets, seed=seed)
    normals, offsets = triage(cloud, grid, normals, offsets, kept=FIRST_KEPT, hint=hint, seed=seed)
    progress.step("polishing", 0.7)
    chart = polished(cloud, normals, offsets, points=FIRST_POINTS, steps=FIRST_STEPS, seed=seed).chart
    normals, offsets = triage(cloud, grid, chart.normals, chart.offsets, kept=LAST_KEPT, hint=hint, seed=seed)
    points = NOISY_POINTS if cloud.noisy else LAST_POINTS
    last = polished(cloud, normals, offsets, points=points, steps=LAST_STEPS, seed=seed)
    progress.step("judging", 0.9)
    return judge(cloud, grid, last, hint=hint, seed=seed)


def _answer(
    cloud: Cloud,
    judged: Judged,
    marked: LandmarkPlane | None,
    hint: Hint | None,
    settings: dict[str, object],
) -> MirrorPlaneResult:
    choose = int(str(settings["choose"]))
    taken = choose - 1
    planes = [
        Plane(normal=n, offset_mm=d * cloud.scale_mm + float(n @ cloud.center_mm))
        for n, d in zip(*_facing(judged.normals, judged.offsets), strict=True)
    ]
    rivals = judged if hint is None else _meant(judged, hint)
    sd_deg, sd_mm = _deviations(judged, taken, cloud.scale_mm)
    found = doubt(rivals, pinned=marked is not None, sd=(sd_deg, 100.0 * sd_mm / cloud.scale_mm))
    residual = judged.residual[taken]
    matched = residual < min(max(MATCHED_WIDTHS * judged.width[taken], MATCHED_LEAST), REACH)
    unknown = ~matched & judged.excused[taken]
    distance = residual[matched] if matched.any() else np.zeros(1)
    contradicted = float((~matched & ~unknown).mean())
    told = findings(found, contradicted=contradicted, chosen=choose > 1)
    if marked is not None:
        told += [*marked.findings, *disagreement(planes[taken].angle_deg(marked.plane), marked.sd_deg)]
    if marked is not None and found.free_axis is not None:
        sd_deg, sd_mm = float(np.hypot(sd_deg, marked.sd_deg)), float(np.hypot(sd_mm, marked.sd_mm))
    return MirrorPlaneResult(
        plane=planes[taken],
        status=found.status,
        asymmetry_rms_mm=float(np.sqrt((distance**2).mean())) * cloud.scale_mm,
        asymmetry_p95_mm=float(np.percentile(distance, 95.0)) * cloud.scale_mm,
        sd_deg=sd_deg,
        sd_mm=sd_mm,
        matched_share=float(matched.mean()),
        unknown_share=float(unknown.mean()),
        contradicted_share=contradicted,
        evidence_nats=float(judged.nats[taken]),
        slip=(float(judged.slip[taken, 0]), float(judged.slip[taken, 1]), float(judged.slip[taken, 2])),
        free_axis=found.free_axis,
        alternatives=tuple(
            RankedPlane(plane=plane, score=float(score))
            for plane, score in zip(planes, judged.scores, strict=True)
        ),
        choice=choose,
        findings=tuple(told),
        settings=settings,
    )


def _meant(judged: Judged, hint: Hint) -> Judged:
    """Return the planes that the hint means, the first one in any case."""
    meant = np.flatnonzero(hint.fits(judged.normals, judged.offsets)).tolist()
    return judged.take(meant or [0])


def _facing(normals: FloatArray, offsets: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the planes with the largest component of each normal positive."""
    largest = np.take_along_axis(normals, np.abs(normals).argmax(axis=1)[:, None], axis=1)[:, 0]
    sign = np.where(largest < 0.0, -1.0, 1.0)
    return normals * sign[:, None], offsets * sign


def _deviations(judged: Judged, taken: int, scale_mm: float) -> tuple[float, float]:
    """Return the standard deviations of the direction (degrees) and of the place amid the scan (mm).

    They are scaled by what the benchmark showed errors to exceed the covariance by.
    """
    normal, center = judged.normals[taken], judged.center[taken]
    covariance = judged.covariance[taken] * CALIBRATION**2
    u, v = tangents(normal[None])
    amid = normal * judged.offsets[taken] - center
    lean = np.array([float(u[0] @ amid), float(v[0] @ amid), -1.0])
    tilt = float(np.degrees(np.sqrt(covariance[0, 0] + covariance[1, 1])))
    return tilt, float(np.sqrt(lean @ covariance @ lean)) * scale_mm
