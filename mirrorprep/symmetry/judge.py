"""Ranking refined planes by their evidence, and by how firmly it holds them."""

from collections.abc import Iterable
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from mirrorprep.symmetry import evidence
from mirrorprep.symmetry.cloud import Cloud
from mirrorprep.symmetry.hint import Hint
from mirrorprep.symmetry.lattice import Lattice
from mirrorprep.symmetry.newton import Chart
from mirrorprep.symmetry.refine import Polished

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

TRIAGE_POINTS = 500
POINTS = 2_000
SAME_DEG = 3.0
SAME_OFFSET = 0.015
SLIDE = 0.15
SHARP = 0.5
FIRM = 0.05
LOOSE = 0.1
LISTED = 0.02
LEAST_SLIP = 0.03


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Judged:
    """Refined planes, best first; leading axis over the planes.

    Attributes
    ----------
    normals, offsets, center : (k, 3), (k,), (k, 3) float64
        The planes, and points they tilt about, in the cloud's units.
    scores : (k,) float64
        Evidence, lowered for planes that slide.
    nats, known, share, width : (k,) float64
        See `evidence.Evidence`.
    sharpness : (k,) float64
        Share of the evidence that is lost when the plane slides along its loosest freedom.
    slip : (k, 3) float64
        Change of residual per unit change of the plane along its three freedoms, loosest first.
    freedoms : (k, 3, 3) float64
        These freedoms, in columns, in the terms of `newton.Chart`.
    covariance : (k, 3, 3) float64
        Of the freedoms.
    residual : (k, p) float64
        See `evidence.Match`.
    excused : (k, p) bool
        See `evidence.Match`.
    """

    normals: FloatArray
    offsets: FloatArray
    center: FloatArray
    scores: FloatArray
    nats: FloatArray
    known: FloatArray
    share: FloatArray
    width: FloatArray
    sharpness: FloatArray
    slip: FloatArray
    freedoms: FloatArray
    covariance: FloatArray
    residual: FloatArray
    excused: BoolArray

    def take(self, index: list[int]) -> "Judged":
        """Return some of the planes, in the order of `index`."""
        return Judged(**{item.name: getattr(self, item.name)[index] for item in fields(self)})


def triage(
    cloud: Cloud,
    grid: Lattice,
    normals: FloatArray,
    offsets: FloatArray,
    *,
    kept: int,
    hint: Hint | None,
    seed: int,
) -> tuple[FloatArray, FloatArray]:
    """Return the few planes of most evidence, without repeats; those that the hint means come first."""
    alone = distinct(normals, offsets, range(len(normals)))
    normals, offsets = normals[alone], offsets[alone]
    chosen = some_samples(cloud, TRIAGE_POINTS, seed)
    found = evidence.weigh(evidence.match(cloud, grid, chosen, normals, offsets))
    order = _order(found.nats, normals, offsets, hint)[:kept]
    return normals[order], offsets[order]


def some_samples(cloud: Cloud, count: int, seed: int) -> IntArray:
    """Return some of the samples."""
    rng = np.random.default_rng(seed + 2)
    return np.sort(rng.choice(len(cloud.points), count, replace=False))


def _order(scores: FloatArray, normals: FloatArray, offsets: FloatArray, hint: Hint | None) -> list[int]:
    meant = np.zeros(len(scores), dtype=bool) if hint is None else hint.fits(normals, offsets)
    return [int(index) for index in np.lexsort((-scores, ~meant))]


def distinct(normals: FloatArray, offsets: FloatArray, order: Iterable[int]) -> list[int]:
    """Return the planes that repeat none before them in `order`."""
    kept: list[int] = []
    for index in order:
        dot = normals[kept] @ normals[index]
        near = np.abs(dot) > np.cos(np.radians(SAME_DEG))
        close = np.abs(offsets[index] - np.sign(dot) * offsets[kept]) < SAME_OFFSET
        if not (near & close).any():
            kept.append(index)
    return kept


def judge(cloud: Cloud, grid: Lattice, polished: Polished, *, hint: Hint | None, seed: int) -> Judged:
    """Weigh polished planes and rank them; the landmarks hold what slips."""
    chart = polished.chart
    values, vectors = np.linalg.eigh(chart.information)
    slip, loosest = np.sqrt(np.maximum(values, 0.0)), vectors[:, :, 0]
    if hint is not None:
        chart = hint.pinned(chart, slip, vectors, below=LEAST_SLIP)
    chosen = some_samples(cloud, POINTS, seed)
    matched = evidence.match(cloud, grid, chosen, chart.normals, chart.offsets)
    found = evidence.weigh(matched)
    slid = np.maximum(*(_slid(cloud, grid, chosen, chart, by * loosest) for by in (SLIDE, -SLIDE)))
    nats = np.maximum(found.nats, 1e-9)
    sharpness = np.clip(1.0 - slid / nats, 0.0, 1.0)
    firm = np.minimum(1.0, sharpness / SHARP) * np.minimum(1.0, slip[:, 0] / FIRM)
    judged = Judged(
        normals=chart.normals,
        offsets=chart.offsets,
        center=chart.center,
        scores=nats * np.maximum(firm, LOOSE),
        nats=nats,
        known=found.known,
        share=found.share,
        width=found.width,
        sharpness=sharpness,
        slip=slip,
        freedoms=vectors,
        covariance=polished.covariance,
        residual=matched.residual,
        excused=matched.excused,
    )
    order = _order(judged.scores, judged.normals, judged.offsets, hint)
    ranked = judged.take(distinct(judged.normals, judged.offsets, order))
    listed = ranked.scores >= LISTED * ranked.scores[0]
    return ranked.take(np.flatnonzero(listed).tolist())


def _slid(cloud: Cloud, grid: Lattice, chosen: IntArray, chart: Chart, step: FloatArray) -> FloatArray:
    """Return the evidence left when each plane is moved by a step of its freedoms."""
    normals, offsets = chart.moved(step)
    return evidence.weigh(evidence.match(cloud, grid, chosen, normals, offsets)).nats
