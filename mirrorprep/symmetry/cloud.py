"""The scan as an even cloud of oriented points, centred and scaled by its diagonal."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from mirrorprep.errors import GeometryError
from mirrorprep.geometry.normals import doubled_areas, fitted_normals, unit
from mirrorprep.geometry.sampling import stratified_points
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.symmetry.border import NONE, Border, find_border

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

SAMPLES = 40_000
NEIGHBOURS = 16
WIDE_NEIGHBOURS = 40
INCOHERENT_BELOW = 0.85
NOISY_ABOVE = 4e-4
ROUGH_ABOVE = 1e-4
COHERENT_FROM = 0.99
REJECT_WITHIN = 0.012
SOUP_SHARE = 0.3
NORMAL_LEVER = 0.05


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Cloud:
    """Samples of a scan in units of its bounding-box diagonal, about its centre.

    Attributes
    ----------
    center_mm : (3,) float64
        Scan position of the cloud's origin.
    scale_mm : float
        Diagonal: millimetres per unit of the cloud.
    points, normals : (n, 3) float64
        Samples on the faces and the faces' normals there.
    smooth_points, smooth_normals : (n, 3) float64
        The same averaged over compatible neighbours.
    triangles : (n, 3, 3) float64
        The face each sample lies on.
    border : (n,) bool
        Samples at an open edge, whose matches do not count.
    edges : Border
        The open edges themselves.
    noise : float
        Median distance of the samples from the local mean surface.
    coherence : float
        Median length of the mean of neighbouring face normals, 1 on a smooth surface.
    tree : KDTree
        Over points and normals, so that the two sides of a thin part keep apart.
    """

    center_mm: FloatArray
    scale_mm: float
    points: FloatArray
    normals: FloatArray
    smooth_points: FloatArray
    smooth_normals: FloatArray
    triangles: FloatArray
    border: BoolArray
    edges: Border
    noise: float
    coherence: float
    tree: KDTree

    @property
    def noisy(self) -> bool:
        """True when single triangles mean little: strong noise, or a little on triangles as fine."""
        return self.noise > NOISY_ABOVE or (self.noise > ROUGH_ABOVE and self.coherence < COHERENT_FROM)

    def nearest(self, points: FloatArray, normals: FloatArray, *, reach: float, count: int = 1) -> IntArray:
        """Return the `count` samples that lie nearest and face the same way; n where none is in reach.

        Parameters
        ----------
        points, normals : (..., 3) float64
            Places and directions.
        reach : float
            Distance, to which a difference of normals adds.
        """
        query = np.concatenate([points, NORMAL_LEVER * normals], axis=-1)
        found = self.tree.query(query, k=count, distance_upper_bound=reach, workers=-1)[1]
        return np.asarray(found)


def sample(mesh: ScanMesh, *, seed: int, weight: FloatArray | None = None) -> Cloud:
    """Sample a mesh for the search.

    Parameters
    ----------
    mesh : ScanMesh
        Any triangles with area.
    seed : int
        Start of the random places.
    weight : (m,) float64, optional
        Share of each face that counts, 0 to 1.

    Raises
    ------
    GeometryError
        If nothing is left to sample.
    """
    cross = doubled_areas(mesh.vertices, mesh.faces)
    areas = np.sqrt(np.einsum("ij,ij->i", cross, cross)) / 2.0
    counted = areas if weight is None else areas * weight
    if not counted.sum() > 0.0:
        raise GeometryError(
            "No surface area is left to search for a mirror plane.",
            remedy="Check the scan with 'mirrorprep check' and the region file.",
        )
    rng = np.random.default_rng(seed)
    raw, face = stratified_points(mesh.vertices, mesh.faces, counted, count=SAMPLES, rng=rng)
    low, high = raw.min(axis=0), raw.max(axis=0)
    center, scale = (low + high) / 2.0, float(np.linalg.norm(high - low))
    points, normals = (raw - center) / scale, unit(cross[face])
    tree = KDTree(points)
    smooth = _smoothed(points, normals, tree)
    edges = find_border(mesh.vertices, mesh.faces, center=center, scale=scale, samples=tree)
    border = np.isfinite(edges.distance(points, reach=REJECT_WITHIN)[0])
    if border.mean() > SOUP_SHARE:
        edges, border = NONE, np.zeros(len(points), dtype=bool)
    return Cloud(
        center_mm=center,
        scale_mm=scale,
        points=points,
        normals=normals,
        smooth_points=smooth.points,
        smooth_normals=smooth.normals,
        triangles=(mesh.vertices[mesh.faces[face]] - center) / scale,
        border=border,
        edges=edges,
        noise=smooth.noise,
        coherence=smooth.coherence,
        tree=KDTree(np.concatenate([smooth.points, NORMAL_LEVER * smooth.normals], axis=1)),
    )


class _Smooth(NamedTuple):
    points: FloatArray
    normals: FloatArray
    noise: float
    coherence: float


def _smoothed(points: FloatArray, normals: FloatArray, tree: KDTree) -> _Smooth:
    near = np.asarray(tree.query(points, k=NEIGHBOURS, workers=-1)[1])
    agree = (np.einsum("nki,ni->nk", normals[near], normals) > 0.5).astype(np.float64)
    agree /= agree.sum(axis=1, keepdims=True)
    smooth_points = np.einsum("nk,nki->ni", agree, points[near])
    mean_normals = np.einsum("nk,nki->ni", agree, normals[near])
    smooth_normals = unit(mean_normals)
    noise = float(np.median(np.abs(np.einsum("ni,ni->n", points - smooth_points, smooth_normals))))
    plain = normals[near].mean(axis=1)
    coherence = float(np.median(np.sqrt(np.einsum("ni,ni->n", plain, plain))))
    if coherence < INCOHERENT_BELOW and noise > NOISY_ABOVE:
        wide = np.asarray(tree.query(points, k=WIDE_NEIGHBOURS, workers=-1)[1])
        smooth_points = points[wide].mean(axis=1)
        smooth_normals = fitted_normals(points[wide], normals[wide].mean(axis=1))
        noise = float(np.median(np.abs(np.einsum("ni,ni->n", points - smooth_points, smooth_normals))))
    return _Smooth(smooth_points, smooth_normals, noise, coherence)
