"""The teaching phantom: a head with its right ear only, posed off the axes."""

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from demo_shapes.adaptive import surface
from demo_shapes.auricle import auricle
from demo_shapes.face import face
from demo_shapes.fields import rotation, soft_min
from mirrorprep.errors import UsageError
from mirrorprep.solid.certify import certify
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_EAR_BOX = np.array([[44.0, -55.0, -52.0], [100.0, 24.0, 50.0]])
_STEPS = {"full": 0.55, "small": 1.7}
_EAR_STEPS = {"full": 0.45, "small": 1.0}

@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class EarShape:
    """The right ear alone.

    Attributes
    ----------
    solid : Solid
        In the ear frame: p to the back, s up along the ear, w out from the skin.
    landmarks : dict of str to (3,) float64
        superaurale, subaurale, preaurale, postaurale and tragion.
    """

    solid: Solid
    landmarks: dict[str, FloatArray]


def ear(detail: str = "full") -> EarShape:
    """Return the right ear alone, a closed solid whose back follows the skin."""
    body = _lone_ear(_step(_EAR_STEPS, detail))
    turn, place = _ear_frame()
    matrix = np.eye(4)
    matrix[:3, :3], matrix[:3, 3] = turn.T, -turn.T @ place
    return EarShape(solid=body.transformed(matrix), landmarks={})


def _step(steps: dict[str, float], detail: str) -> float:
    if detail not in steps:
        raise UsageError(f"'{detail}' is not a level of detail.", remedy="Use 'full' or 'small'.")
    return steps[detail]


LANDMARKS = {
    "nasion": (0, 94, 25), "pronasale": (0, 118, -17.5), "subnasale": (0, 102, -28),
}  # fmt: skip


def _ear_frame() -> tuple[FloatArray, FloatArray]:
    """Return rotation and place of the right ear: columns are p, s, w in the head frame."""
    axes = np.array([[0.0, 0.0, 1.0], [-1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])  # p = −y, s = z, w = x
    turn = rotation(2, 6.0) @ rotation(0, 12.0)
    return turn @ axes, np.array([68.5, 3.0, -2.0])


def ear_field(points: FloatArray) -> FloatArray:
    """Return the distance from the right ear with its root, in the head frame."""
    turn, place = _ear_frame()
    return auricle((points - place) @ turn)


def _near_ear(points: FloatArray) -> FloatArray:
    return np.asarray(np.maximum(_EAR_BOX[0] - points, points - _EAR_BOX[1]).max(axis=1))


def head_field(points: FloatArray) -> FloatArray:
    """Return the distance from the head with its right ear, in the head frame."""
    body = face(points)
    near = _near_ear(points) < 0.0
    body[near] = soft_min(body[near], ear_field(points[near]), 4.0)
    return body


def lone_ear_field(points: FloatArray) -> FloatArray:
    """Return the distance from the right ear above the skin, its back following the skin."""
    return np.maximum(ear_field(points), -face(points) - 0.6)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PhantomHead:
    """A posed head that lacks its left ear, with what is true of it.

    Attributes
    ----------
    scan : ScanMesh
        Closed surface of head and neck with the right ear.
    true_plane : Plane
        The plane the head was built around.
    true_ear : ScanMesh
        The missing left ear, closed, in its place.
    landmarks : dict of str to (3,) float64
        Positions on the skin by name; pairs end in ``_right`` and ``_left``.
    pose : (4, 4) float64
        From the head frame (x right, y front, z up) to the scan.
    """

    scan: ScanMesh
    true_plane: Plane
    true_ear: ScanMesh
    landmarks: dict[str, FloatArray]
    pose: FloatArray


def head_pose() -> FloatArray:
    """Return the known rigid motion of the phantom, (4, 4)."""
    pose = np.eye(4)
    pose[:3, :3] = rotation(2, 23.0) @ rotation(1, -11.0) @ rotation(0, 7.0)
    pose[:3, 3] = (31.4, -18.2, 142.6)
    return pose


def moved(points: FloatArray, pose: FloatArray) -> FloatArray:
    """Return (n, 3) points moved by a 4 × 4 matrix."""
    return np.asarray(points @ pose[:3, :3].T + pose[:3, 3])


def phantom_head(detail: str = "full", *, seed: int = 0, asymmetry_mm: float = 0.0) -> PhantomHead:
    """Return the teaching phantom head."""
    step = _step(_STEPS, detail)
    vertices, faces = surface(
        head_field,
        [[-85, -112, -170], [100, 130, 140]],
        step_mm=step,
        coarsest=2,
        wanted=_wanted,
        slack=2.0,
    )
    pose = head_pose()
    normal = pose[:3, 0]
    ear = _lone_ear(_EAR_STEPS[detail]).mesh
    flipped = moved(ear.vertices * [-1.0, 1.0, 1.0], pose)
    return PhantomHead(
        scan=ScanMesh(vertices=moved(vertices, pose), faces=faces),
        true_plane=Plane.through(pose[:3, 3], normal),
        true_ear=ScanMesh(vertices=flipped, faces=ear.faces[:, ::-1]),
        landmarks={name: moved(np.array([place], dtype=float), pose)[0] for name, place in LANDMARKS.items()},
        pose=pose,
    )


def _wanted(points: FloatArray) -> IntArray:
    level = np.full(len(points), 2, dtype=np.int64)
    front = (points[:, 1] > 62.0) & (np.abs(points[:, 0]) < 52.0) & (np.abs(points[:, 2] + 25.0) < 62.0)
    level[front] = 1
    eye = np.array([31.0, 80.0, 16.0])
    level[(np.abs(np.abs(points) * [1, 1, 1] - eye) < [17, 20, 8]).all(axis=1)] = 0
    level[_near_ear(points) < -2.0] = 0
    return level


@cache
def _lone_ear(step_mm: float) -> Solid:
    vertices, faces = surface(lone_ear_field, _EAR_BOX, step_mm=step_mm, slack=2.0)
    return certify(ScanMesh(vertices=vertices, faces=faces))
