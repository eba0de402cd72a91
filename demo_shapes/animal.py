"""A sitting fox as if carved of wood with a gouge, on a small plinth. Millimetres; x right, y front, z up."""

from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from demo_shapes.adaptive import surface
from demo_shapes.curves import Tube
from demo_shapes.fields import (
    ball,
    bump,
    carve,
    ellipsoid,
    rotation,
    round_cone,
    smooth_step,
    soft_max,
    soft_min,
    times,
)
from demo_shapes.truth import TrueValues, true_values
from mirrorprep.errors import UsageError
from mirrorprep.solid.certify import certify
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]

_BOX_MM: Final = np.array([[-36.0, -42.0, -2.0], [38.0, 42.0, 100.0]])
_STEPS_MM = {"full": 0.72, "small": 1.5}
_SEED = 20
_GOUGE_SPACING_MM, _GOUGE_DEPTH_MM = 4.2, 0.55
_NECK = np.array([0.0, 5.0, 60.0])
_LOOK_ASIDE = rotation(2, -24.0) @ rotation(0, -4.0)
_TAIL = [
    (2, -22, 15, 5.0), (12, -26, 11, 7.0), (22, -20, 11, 8.2), (27, -6, 11.5, 8.8), (25, 8, 11, 8.2),
    (17.5, 19, 10, 6.4), (8, 24.5, 8.5, 3.8), (1, 26, 7.5, 1.4),
]  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class AnimalShape:
    """The carved fox.

    Attributes
    ----------
    solid : Solid
        Closed, standing on z = 0.
    true_values : TrueValues
        Volume, area and size of its triangles.
    """

    solid: Solid
    true_values: TrueValues


def animal(detail: str = "full") -> AnimalShape:
    """Return a sitting fox, 90 mm tall, with the tail laid around its feet.

    Parameters
    ----------
    detail : str
        ``full`` (about 80 000 triangles) or ``small`` (about 18 000).

    Raises
    ------
    UsageError
        For an unknown level of detail.

    Examples
    --------
    >>> 85.0 < animal("small").true_values.size_mm[2] < 95.0
    True
    """
    if detail not in _STEPS_MM:
        raise UsageError(f"'{detail}' is not a level of detail.", remedy="Use 'full' or 'small'.")
    solid = _fox(_STEPS_MM[detail])
    return AnimalShape(solid=solid, true_values=true_values(f"animal-{detail}", solid))


@cache
def _fox(step_mm: float) -> Solid:
    vertices, faces = surface(animal_field, _BOX_MM, step_mm=step_mm, slack=2.5)
    return certify(ScanMesh(vertices=vertices, faces=faces))


def animal_field(points: FloatArray) -> FloatArray:
    """Return the distance from the fox on its plinth."""
    p = points
    turned = times(p - _NECK, _LOOK_ASIDE) + _NECK
    body = soft_min(_trunk(p), _head(turned), 6.0)
    body = soft_min(body, _legs(p), 3.0)
    tail = _tail().distance_mm(p)
    body = soft_min(body, tail, 2.0)
    body = soft_max(body, 3.0 - p[:, 2], 0.5)
    body = body + _gouges(p) * _strength(p[:, 2])
    plinth = np.hypot(p[:, 0] / 33.0, (p[:, 1] - 0.5) / 34.0) - 1.0
    plinth = soft_max(plinth * 33.0, np.abs(p[:, 2] - 3.0) - 3.0, 2.5)
    return soft_min(body, plinth, 1.0)


def _strength(z: FloatArray) -> FloatArray:
    """Return how strongly the gouge bit: not on the plinth, gently on the head."""
    return np.asarray(smooth_step(5.0, 9.0, z) * (1.0 - 0.5 * smooth_step(56.0, 62.0, z)))


@cache
def _tail() -> Tube:
    return Tube(_TAIL, reach_mm=16.0)


def _trunk(p: FloatArray) -> FloatArray:
    q = p.copy()
    q[:, 0] = np.abs(q[:, 0])
    body = round_cone(p, (0, -9, 22), (0, 3.5, 48), 16.0, 11.0)
    body = soft_min(body, ellipsoid(q, (10.5, -6, 18), (9.0, 16.0, 14.5)), 6.0)
    body = soft_min(body, ellipsoid(p, (0, 9.5, 42), (11.0, 8.0, 14.0)), 6.0)
    body = soft_min(body, ellipsoid(p, (0, 5, 16), (10.0, 9.0, 22.0)), 5.0)  # closes the belly to the plinth
    return soft_min(body, round_cone(p, (0, 5, 50), (0, 6, 62), 9.5, 8.5), 6.0)


def _legs(p: FloatArray) -> FloatArray:
    q = p.copy()
    q[:, 0] = np.abs(q[:, 0])
    front = round_cone(q, (6.0, 10, 36), (5.6, 15.5, 9), 5.6, 3.9)
    front = soft_min(front, ellipsoid(q, (5.6, 18.5, 8), (4.3, 6.2, 3.8)), 2.5)
    toes = np.abs(q[:, 0] - 5.6)
    front = front + 0.8 * np.exp(-0.5 * ((toes - 1.5) / 0.55) ** 2) * smooth_step(19.5, 22.5, p[:, 1])
    hind = ellipsoid(q, (14.0, 7.5, 8.5), (4.8, 9.5, 4.4), turn=rotation(2, -8.0))
    return soft_min(front, hind, 2.0)


def _head(p: FloatArray) -> FloatArray:
    q = p.copy()
    q[:, 0] = np.abs(q[:, 0])
    head = ellipsoid(p, (0, 9.5, 67), (12.2, 11.5, 10.0))
    head = soft_min(head, ellipsoid(q, (8.6, 11.5, 63.5), (6.0, 6.0, 5.4)), 4.0)
    muzzle = round_cone(p, (0, 16, 64.0), (0, 28.5, 61.8), 6.4, 2.7)
    head = soft_min(head, muzzle, 4.5)
    head -= bump(q, (4.8, 18.5, 71), (3.0, 5.0, 2.2), 1.2)  # brow
    head -= bump(q, (5.6, 19.5, 67.2), (2.8, 4.0, 2.3), -2.2)  # eye hollow
    head = soft_min(head, ball(q, (5.4, 17.6, 67.0), 2.1), 0.5)
    head = soft_min(head, ball(p, (0, 30.4, 62.6), 1.9), 1.2)
    slit = np.hypot(p[:, 2] - 60.6 + 0.05 * (p[:, 1] - 24.0), 0.3)
    head = head + 0.7 * np.exp(-0.5 * (slit / 0.6) ** 2) * smooth_step(20.0, 25.0, p[:, 1])
    outer = soft_max(
        round_cone(q, (7.4, 7.5, 73), (10.6, 6.5, 89.5), 5.6, 0.9), np.abs(p[:, 1] - 6.0) - 2.9, 2.0
    )
    head = soft_min(head, outer, 2.5)
    hollow = round_cone(q, (7.8, 9.6, 75.5), (10.2, 9.3, 85.5), 2.7, 0.7)
    return carve(head, hollow, 1.0)


@cache
def _gouge_tree() -> KDTree:
    """Return the deepest points of the gouge's strokes, jittered about a close packing."""
    rng = np.random.default_rng(_SEED)
    counts = ((_BOX_MM[1] - _BOX_MM[0]) / _GOUGE_SPACING_MM).astype(int)
    grid = np.stack(np.meshgrid(*map(np.arange, counts), indexing="ij"), axis=-1).reshape(-1, 3)
    jitter = rng.uniform(-0.5, 0.5, grid.shape)
    return KDTree(_BOX_MM[0] + _GOUGE_SPACING_MM * (grid + jitter), leafsize=32)


def _gouges(p: FloatArray) -> FloatArray:
    """Return the depth of the strokes: hollows that meet in ridges."""
    away, _ = _gouge_tree().query(p, distance_upper_bound=1.2 * _GOUGE_SPACING_MM)
    ratio = np.minimum(away / _GOUGE_SPACING_MM, 1.2)
    return np.asarray(_GOUGE_DEPTH_MM * (0.6 - ratio * ratio))
