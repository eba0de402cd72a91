"""Damaged twins of closed shapes: what scanners and careless exports do to a surface, with an account."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from mirrorprep.errors import UsageError
from mirrorprep.geometry.topology import edge_table
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.units import MM_PER_UNIT

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_NOISE_SHARE = 2e-4  # of the diagonal: 0.06 mm on a head
_HOLES = 6
_HOLE_SHARE = 0.015
_ISLANDS = 5
_SPIKES = 25
_SPIKE_SHARE = 0.03
_FEW = 40


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class DamagedScan:
    """A damaged twin and what was done to it.

    Attributes
    ----------
    scan : ScanMesh
        The damaged surface.
    kinds : tuple of str
        What was done, in order.
    account : dict of str to float
        How much of each: numbers of triangles, islands or holes, the RMS of the noise in mm, the factor of
        the wrong unit.
    """

    scan: ScanMesh
    kinds: tuple[str, ...]
    account: dict[str, float]


class _Work:
    """The surface under damage."""

    def __init__(self, scan: ScanMesh, seed: int) -> None:
        self.vertices = np.array(scan.vertices)
        self.faces = np.array(scan.faces)
        self.diagonal = scan.diagonal_mm
        self.rng = np.random.default_rng([seed, 3])
        self.account: dict[str, float] = {}

    def middles(self) -> FloatArray:
        return np.asarray(self.vertices[self.faces].mean(axis=1))

    def normals(self) -> FloatArray:
        """Return unit vertex normals; zero where a vertex has no triangle."""
        a, b, c = np.moveaxis(self.vertices[self.faces], 1, 0)
        face_normal = np.repeat(np.cross(b - a, c - a), 3, axis=0)
        rows = self.faces.ravel()
        total = np.stack([np.bincount(rows, face_normal[:, k], len(self.vertices)) for k in range(3)], axis=1)
        return np.asarray(total / np.maximum(np.linalg.norm(total, axis=1), 1e-30)[:, None])


def damaged(scan: ScanMesh, kinds: Iterable[str], *, seed: int = 0) -> DamagedScan:
    """Return a damaged twin of a closed surface with an account of the damage.

    Parameters
    ----------
    scan : ScanMesh
        Left as it is.
    kinds : iterable of str
        Any of `DAMAGE_KINDS`, done in the order given; ``raw`` stands for what a raw scan shows together.
    seed : int
        Draws places and sizes.

    Returns
    -------
    DamagedScan
        The twin and the account.

    Raises
    ------
    UsageError
        For an unknown kind or a surface of fewer than 200 triangles.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import sphere
    >>> damaged(sphere(20.0).mesh, ["inverted"]).account
    {'flipped_triangles': 2048}
    """
    chosen = tuple(kinds)
    unknown = [kind for kind in chosen if kind not in DAMAGE_KINDS]
    if unknown:
        raise UsageError(f"'{unknown[0]}' is not a damage.", remedy=f"Use {', '.join(DAMAGE_KINDS)}.")
    if len(scan.faces) < 200:
        raise UsageError(
            f"A surface of {len(scan.faces)} triangles is too coarse to damage.", remedy="Give 200 or more."
        )
    work = _Work(scan, seed)
    for kind in chosen:
        for step in _RAW if kind == "raw" else (kind,):
            _STEPS[step](work)
    used, faces = np.unique(work.faces, return_inverse=True)
    vertices = work.vertices[used]
    twin = ScanMesh(vertices=vertices, faces=faces.reshape(-1, 3))
    return DamagedScan(scan=twin, kinds=chosen, account=work.account)


def damage(scan: ScanMesh, kinds: Iterable[str], seed: int = 0) -> ScanMesh:
    """Return the scan of `damaged`, without the account.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import sphere
    >>> len(damage(sphere(20.0).mesh, ["duplicates"]).faces)
    2088
    """
    return damaged(scan, kinds, seed=seed).scan


def _noise(work: _Work) -> None:
    """Move vertices along their normals, Gaussian, as the noise of a scanner."""
    spread = _NOISE_SHARE * work.diagonal
    work.vertices += work.rng.normal(0.0, spread, len(work.vertices))[:, None] * work.normals()
    work.account["noise_rms_mm"] = spread


def _holes(work: _Work) -> None:
    """Take out the triangles about a few places."""
    middles = work.middles()
    lost = np.zeros(len(middles), dtype=bool)
    radius = _HOLE_SHARE * work.diagonal
    for place in middles[_apart(work, middles, _HOLES, 4.0 * radius)]:
        size = radius * work.rng.uniform(0.6, 1.4)
        near = np.linalg.norm(middles - place, axis=1) < size
        lost |= near
    work.faces = work.faces[~lost]
    work.account["lost_triangles"] = work.account.get("lost_triangles", 0) + int(lost.sum())
    work.account["holes"] = _HOLES


def _apart(work: _Work, points: FloatArray, count: int, distance_mm: float) -> IntArray:
    """Return rows of points that keep their distance from each other."""
    chosen: list[int] = []
    for row in work.rng.permutation(len(points)).tolist():
        if all(np.linalg.norm(points[row] - points[other]) > distance_mm for other in chosen):
            chosen.append(row)
        if len(chosen) == count:
            break
    return np.array(chosen, dtype=np.int64)


def _open_base(work: _Work) -> None:
    """Take off the flat end of the surface's longest axis, as a scan that stops at the neck."""
    a, b, c = np.moveaxis(work.vertices[work.faces], 1, 0)
    middles, normal = (a + b + c) / 3.0, np.cross(b - a, c - a)
    spread = middles - middles.mean(axis=0)
    axis = np.linalg.eigh(np.einsum("ni,nj->ij", spread, spread))[1][:, -1]
    height = np.einsum("ni,i->n", spread, axis)
    span = height.max() - height.min()
    ends = [height < height.min() + 0.06 * span, height > height.max() - 0.06 * span]
    flat = [np.linalg.norm(normal[end].sum(axis=0)) for end in ends]
    lost = ends[int(np.argmax(flat))]
    work.faces = work.faces[~lost]
    work.account["lost_triangles"] = work.account.get("lost_triangles", 0) + int(lost.sum())


def _islands(work: _Work) -> None:
    """Add small closed bodies that float beside the surface."""
    low, high = work.vertices.min(axis=0), work.vertices.max(axis=0)
    tree = KDTree(work.vertices)
    octahedron = np.vstack([np.eye(3), -np.eye(3)])
    around = np.array(
        [[0, 1, 2], [1, 3, 2], [3, 4, 2], [4, 0, 2], [1, 0, 5], [3, 1, 5], [4, 3, 5], [0, 4, 5]]
    )
    added = 0
    while added < _ISLANDS:
        size = work.diagonal * work.rng.uniform(0.003, 0.01)
        place = work.rng.uniform(low - 4 * size, high + 4 * size)
        if tree.query(place)[0] < 2.5 * size:
            continue
        work.faces = np.vstack([work.faces, around + len(work.vertices)])
        work.vertices = np.vstack([work.vertices, place + size * octahedron])
        added += 1
    work.account["islands"] = _ISLANDS


def _spikes(work: _Work) -> None:
    """Pull single vertices far out along their normals."""
    rows = work.rng.choice(np.unique(work.faces), _SPIKES, replace=False)
    length = _SPIKE_SHARE * work.diagonal * work.rng.uniform(0.3, 1.0, _SPIKES)
    work.vertices[rows] += length[:, None] * work.normals()[rows]
    work.account["spikes"] = _SPIKES


def _duplicates(work: _Work) -> None:
    """Repeat some triangles."""
    rows = work.rng.choice(len(work.faces), _FEW, replace=False)
    work.faces = np.vstack([work.faces, work.faces[rows]])
    work.account["duplicate_triangles"] = _FEW


def _flipped(work: _Work) -> None:
    """Turn some triangles over."""
    rows = work.rng.choice(len(work.faces), _FEW, replace=False)
    work.faces[rows] = work.faces[rows][:, ::-1]
    work.account["flipped_triangles"] = work.account.get("flipped_triangles", 0) + _FEW


def _inverted(work: _Work) -> None:
    """Turn the whole surface inside out."""
    work.faces = work.faces[:, ::-1].copy()
    work.account["flipped_triangles"] = len(work.faces)


def _degenerate(work: _Work) -> None:
    """Add triangles that repeat a vertex."""
    rows = work.rng.choice(len(work.faces), _FEW, replace=False)
    work.faces = np.vstack([work.faces, work.faces[rows][:, [0, 1, 1]]])
    work.account["degenerate_triangles"] = _FEW


def _unwelded(work: _Work) -> None:
    """Give every triangle its own three vertices."""
    work.vertices = work.vertices[work.faces.ravel()]
    work.faces = np.arange(3 * len(work.faces)).reshape(-1, 3)
    work.account["unwelded_triangles"] = len(work.faces)


def _in_unit(unit: str) -> Callable[[_Work], None]:
    def shrink(work: _Work) -> None:
        """Give the numbers in another unit than the millimetre they are taken for."""
        work.vertices = work.vertices / MM_PER_UNIT[unit]
        work.account["unit_factor"] = 1.0 / MM_PER_UNIT[unit]

    return shrink


_STEPS: dict[str, Callable[[_Work], None]] = {
    "holes": _holes,
    "noise": _noise,
    "islands": _islands,
    "spikes": _spikes,
    "duplicates": _duplicates,
    "flipped": _flipped,
    "degenerate": _degenerate,
    "inverted": _inverted,
    "open-base": _open_base,
    "in-metres": _in_unit("m"),
    "in-inches": _in_unit("in"),
    "unwelded": _unwelded,
}
_RAW = ("noise", "open-base", "holes", "spikes", "islands", "duplicates", "flipped", "degenerate")
DAMAGE_KINDS: Final[tuple[str, ...]] = (*_STEPS, "raw")


def refined(mesh: ScanMesh, triangles: int) -> ScanMesh:
    """Return the surface with edges halved until it has at least so many triangles; its form stays.

    Parameters
    ----------
    mesh : ScanMesh
        Closed or open, with at most two triangles at each edge.
    triangles : int
        At most one more than this is returned, and no fewer unless the mesh has more already.

    Notes
    -----
    Edges that are the longest of all their triangles are halved at once (longest-edge bisection, M. C.
    Rivara, International Journal for Numerical Methods in Engineering 20 (1984) 745-756).

    Examples
    --------
    >>> from mirrorprep.solid.primitives import sphere
    >>> len(refined(sphere(20.0).mesh, 10_000).faces)
    10000
    """
    vertices, faces = np.array(mesh.vertices), np.array(mesh.faces)
    while len(faces) < triangles:
        vertices, faces = _halved(vertices, faces, triangles - len(faces))
    return ScanMesh(vertices=vertices, faces=faces)


def _halved(vertices: FloatArray, faces: IntArray, wanted: int) -> tuple[FloatArray, IntArray]:
    """Return the mesh with edges halved that are the longest of all their triangles, the longest first."""
    table = edge_table(faces)
    ends = vertices[table.edges]
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    rank = np.empty(len(length), dtype=np.int64)
    rank[np.argsort(length, kind="stable")] = np.arange(len(length))  # a total order, so that none waits
    longest = np.take_along_axis(table.of_face, rank[table.of_face].argmax(axis=1)[:, None], axis=1)[:, 0]
    votes = np.bincount(longest, minlength=len(length))
    ready = np.flatnonzero(votes == table.uses)
    ready = ready[np.argsort(-length[ready], kind="stable")]
    ready = ready[: max(1, int(np.searchsorted(np.cumsum(votes[ready]), wanted, side="right")))]
    new = np.full(len(length), -1)
    new[ready] = len(vertices) + np.arange(len(ready))
    hit = np.flatnonzero(new[longest] >= 0)
    corner = (table.of_face[hit] == longest[hit, None]).argmax(axis=1)
    a, b, c = (faces[hit, (corner + k) % 3] for k in range(3))
    middle = new[longest[hit]]
    faces = faces.copy()
    faces[hit] = np.stack([a, middle, c], axis=1)
    return (
        np.vstack([vertices, vertices[table.edges[ready]].mean(axis=1)]),
        np.vstack([faces, np.stack([middle, b, c], axis=1)]),
    )
