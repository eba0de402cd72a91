"""Gauss–Newton steps of planes that stay reflections."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mirrorprep.geometry.normals import unit
from mirrorprep.symmetry.pairing import Pairs, residuals

FloatArray = NDArray[np.float64]

DAMPING = 1e-9
LONGEST = 0.2
CLUSTER = 0.12


def tangents(normals: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return two unit vectors at right angles to each of (k, 3) normals and to each other."""
    helper = np.eye(3)[np.abs(normals).argmin(axis=1)]
    u = unit(np.cross(helper, normals))
    return u, np.cross(normals, u)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Chart:
    """Small changes of planes: two tilts about a centre and a shift along the normal.

    Attributes
    ----------
    normals, offsets : (k, 3) float64, (k,) float64
        The planes.
    center : (k, 3) float64
        Points about which the planes tilt.
    information : (k, 3, 3) float64
        Mean outer product of the change of residual per unit change.
    """

    normals: FloatArray
    offsets: FloatArray
    center: FloatArray
    information: FloatArray

    def moved(self, step: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the planes changed by (k, 3) steps."""
        u, v = tangents(self.normals)
        normals = self.normals + step[:, :1] * u + step[:, 1:2] * v
        level = self.offsets - np.einsum("ki,ki->k", self.normals, self.center)
        length = np.sqrt(np.einsum("ki,ki->k", normals, normals))
        offsets = np.einsum("ki,ki->k", normals, self.center) + level + step[:, 2]
        return normals / length[:, None], offsets / length


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Slopes:
    """Residuals of pairs and how they change with the planes.

    Attributes
    ----------
    chart : Chart
        The freedoms.
    residual : (k, p) float64
        Symmetric point-to-plane distances.
    jacobian, weighted : (k, p, 3) float64
        Their derivatives, and these times the weights.
    total : (k,) float64
        Summed weights.
    """

    chart: Chart
    residual: FloatArray
    jacobian: FloatArray
    weighted: FloatArray
    total: FloatArray

    def step(self) -> FloatArray:
        """Return the change (k, 3) that lowers the weighted squares of the residuals most."""
        slope = np.einsum("kpi,kp->ki", self.weighted, self.residual) / self.total[:, None]
        damped = self.chart.information + DAMPING * np.eye(3)
        return np.clip(-np.linalg.solve(damped, slope[..., None])[..., 0], -LONGEST, LONGEST)


def slopes(found: Pairs, weight: FloatArray, normals: FloatArray, offsets: FloatArray) -> Slopes:
    """Linearise the residuals of weighted pairs (k, p) at k planes."""
    residual, m = residuals(found)
    points = found.images.points
    total = np.maximum(weight.sum(axis=1), 1e-12)
    center = np.einsum("kp,kpi->ki", weight, points + found.images.image) / (2.0 * total[:, None])
    arm = points - center[:, None]
    height = np.einsum("kpi,ki->kp", points, normals) - offsets[:, None]
    across = np.einsum("kpi,ki->kp", m, normals)
    tilts = (
        -2.0 * (np.einsum("kpi,ki->kp", arm, t) * across + height * np.einsum("kpi,ki->kp", m, t))
        for t in tangents(normals)
    )
    jacobian = np.stack([*tilts, 2.0 * across], axis=-1)
    weighted = weight[..., None] * jacobian
    information = np.einsum("kpi,kpj->kij", weighted, jacobian) / total[:, None, None]
    chart = Chart(normals=normals, offsets=offsets, center=center, information=information)
    return Slopes(chart=chart, residual=residual, jacobian=jacobian, weighted=weighted, total=total)


def covariance(found: Pairs, at: Slopes) -> FloatArray:
    """Return the covariance (k, 3, 3) of the planes' freedoms.

    Notes
    -----
    Neighbouring residuals go together, and so do those of the two sides: clusters, not samples, are taken
    as independent. Each is left out in turn and the step that the others would take is compared (the
    delete-a-group jackknife of M. H. Quenouille, Biometrika 43 (1956) 353-360, linearised). A cluster is a
    cube of 12 % of the diagonal after the one side has been folded onto the other.
    """
    return np.stack([_covariance(found, at, k) for k in range(len(at.total))])


def _covariance(found: Pairs, at: Slopes, k: int) -> FloatArray:
    points, image = found.images.points[k], found.images.image[k]
    above = np.einsum("pi,i->p", points, at.chart.normals[k]) > at.chart.offsets[k]
    cells = np.floor(np.where(above[:, None], points, image) / CLUSTER).astype(np.int64)
    label = np.unique(cells, axis=0, return_inverse=True)[1].ravel()
    slope = _sums(label, at.weighted[k] * at.residual[k][:, None])
    outer = np.einsum("pi,pj->pij", at.weighted[k], at.jacobian[k]).reshape(-1, 9)
    share = _sums(label, outer).reshape(-1, 3, 3)
    whole = at.chart.information[k] * at.total[k] + DAMPING * max(at.total[k], 1.0) * np.eye(3)
    others = whole - share + 1e-3 * DAMPING * max(at.total[k], 1.0) * np.eye(3)
    step = np.linalg.solve(others, slope[..., None])[..., 0]
    used = int((np.abs(share).sum(axis=(1, 2)) > 0.0).sum())
    return np.asarray(np.einsum("ci,cj->ij", step, step) * (used - 1) / max(used, 1))


def _sums(label: NDArray[np.int64], values: FloatArray) -> FloatArray:
    return np.stack([np.bincount(label, weights=column) for column in values.T], axis=1)
