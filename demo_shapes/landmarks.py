"""Landmarks of the phantom, found on its own fields.

Definitions after the anthropometric landmark tables in PMC4836697, PMC2666135 and PMC8192579.
"""

from collections.abc import Callable
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from demo_shapes.auricle import auricle, helix_line
from demo_shapes.face import face
from demo_shapes.fields import Field

FloatArray = NDArray[np.float64]

_RAY_STEPS = 200
_HALVINGS = 26
MIDLINE = ("glabella", "nasion", "pronasale", "subnasale", "pogonion", "gnathion")
PAIRS = ("exocanthion", "endocanthion", "alare", "cheilion", "tragion")


def hits(field: Field, starts: ArrayLike, direction: ArrayLike, *, length_mm: float) -> FloatArray:
    """Return where parallel rays that start outside first meet the skin, NaN where they miss.

    Parameters
    ----------
    field : callable
        Signed distance.
    starts : (n, 3)
        Outside the shape.
    direction : (3,)
        Of any length.
    length_mm : float
        How far to look.

    Returns
    -------
    (n, 3) float64
        Positions in mm.

    Examples
    --------
    >>> from demo_shapes.fields import ball
    >>> hits(lambda p: ball(p, (0, 0, 0), 2.0), [[9, 0, 0]], (-1, 0, 0), length_mm=9).round(6).tolist()
    [[2.0, 0.0, 0.0]]
    """
    base, unit = np.asarray(starts, dtype=np.float64), np.asarray(direction, dtype=np.float64)
    unit = unit / np.linalg.norm(unit)

    def inside(places: FloatArray) -> NDArray[np.bool_]:
        points = base[:, None, :] + places[..., None] * unit
        return np.asarray(field(points.reshape(-1, 3)).reshape(places.shape) < 0.0)

    steps = np.linspace(0.0, length_mm, _RAY_STEPS)
    met = inside(np.tile(steps, (len(base), 1)))
    high = steps[np.argmax(met, axis=1)]
    low = high - steps[1]
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        within = inside(middle[:, None])[:, 0]
        low, high = np.where(within, low, middle), np.where(within, middle, high)
    places = np.where(met.any(axis=1), high, np.nan)
    return np.asarray(base + places[:, None] * unit)


def hit(field: Field, start: ArrayLike, direction: ArrayLike, *, length_mm: float) -> FloatArray:
    """Return where one ray first meets the skin; see `hits`."""
    return np.asarray(hits(field, np.asarray(start)[None], direction, length_mm=length_mm)[0])


@cache
def ear_landmarks() -> dict[str, tuple[float, float, float]]:
    """Return the landmarks of the ear in the ear frame.

    superaurale and subaurale are the highest and lowest point, preaurale and postaurale the front and back of
    the helix, tragion the notch above the tragus, helix_lateral the point farthest from the skin.
    """
    helix = helix_line()
    found = {
        "superaurale": _outermost(helix, (0.0, 1.0, 0.0)),
        "preaurale": _outermost(helix, (1.0, 0.0, 0.0)),
        "postaurale": _outermost(helix, (-1.0, 0.0, 0.0)),
        "helix_lateral": _outermost(helix, (0.0, 0.0, 1.0)),
        "subaurale": _outermost(
            np.array([[x, -21.0, 6.3] for x in np.linspace(-16, -4, 25)]), (0.0, -1.0, 0.0)
        ),
        "tragion": hit(auricle, (0.0, 2.5, 30.0), (0.0, 0.0, -1.0), length_mm=40.0),
    }
    return {name: (float(p[0]), float(p[1]), float(p[2])) for name, p in found.items()}


def _outermost(centers: FloatArray, direction: tuple[float, float, float]) -> FloatArray:
    """Return the point of the ear farthest along an axis, searched on rays towards the given points."""
    unit = np.array(direction)
    spread = np.array([[0, 0], [1, 0], [-1, 0], [0, 1], [0, -1], [1, 1], [-1, 1], [1, -1], [-1, -1]]) * 1.2
    ahead = centers[np.argsort(-(centers @ unit))[:12]]
    flat = np.delete(np.eye(3), int(np.argmax(np.abs(unit))), axis=0)
    starts = (ahead[:, None, :] + spread @ flat).reshape(-1, 3) + 25.0 * unit
    found = hits(auricle, starts, -unit, length_mm=25.0)
    return np.asarray(found[int(np.nanargmax(found @ unit))])


def _from_front(x: float, z: float) -> FloatArray:
    return hit(face, (x, 150.0, z), (0.0, -1.0, 0.0), length_mm=120.0)


def _profile(low_z: float, high_z: float) -> FloatArray:
    starts = [(0.0, 150.0, z) for z in np.linspace(low_z, high_z, 81)]
    return hits(face, starts, (0.0, -1.0, 0.0), length_mm=120.0)


@cache
def face_landmarks() -> dict[str, tuple[float, float, float]]:
    """Return the landmarks of the face in the head frame, right side only for pairs."""
    nose, chin = _profile(-28.0, -6.0), _profile(-96.0, -74.0)
    tip = _foremost(nose, lambda p: p[:, 1])
    upper_lip = _from_front(0.0, -44.0)
    below = _profile(-43.0, float(tip[2]))
    chord = upper_lip - tip
    across = np.array([0.0, -chord[2], chord[1]])
    found = {
        "glabella": _from_front(0.0, 38.0),
        "nasion": _from_front(0.0, 25.0),
        "pronasale": tip,
        "subnasale": _foremost(below, lambda p: np.abs((p - tip) @ across)),
        "pogonion": _foremost(chin, lambda p: p[:, 1]),
        "gnathion": _foremost(chin, lambda p: p[:, 1] - p[:, 2]),
        "exocanthion": _from_front(46.0, 15.1),
        "endocanthion": _from_front(17.0, 14.2),
        "alare": hit(face, (45.0, 99.0, -21.0), (-1.0, 0.0, 0.0), length_mm=40.0),
        "cheilion": _from_front(26.5, -49.3),
    }
    return {name: (float(p[0]), float(p[1]), float(p[2])) for name, p in found.items()}


def _foremost(points: FloatArray, score: Callable[[FloatArray], FloatArray]) -> FloatArray:
    return np.asarray(points[int(np.argmax(score(points)))])
