"""The teaching phantom: a head with its right ear only, posed off the axes; and that ear alone."""

from dataclasses import dataclass
from functools import cache
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from demo_shapes.adaptive import surface
from demo_shapes.asymmetry import warped
from demo_shapes.auricle import auricle
from demo_shapes.face import face
from demo_shapes.fields import carve, rotation, round_cone, soft_max, soft_min, times
from demo_shapes.landmarks import MIDLINE, ear_landmarks, face_landmarks, hit
from demo_shapes.truth import TrueValues, true_values
from mirrorprep.errors import UsageError
from mirrorprep.solid.certify import certify
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

EAR_BOX_MM: Final = np.array([[44.0, -58.0, -54.0], [102.0, 26.0, 54.0]])
_HEAD_BOX_MM = np.array([[-86.0, -112.0, -170.0], [102.0, 128.0, 140.0]])
_CANAL = ((-5.0, -3.0, 3.0), (1.0, -2.0, -10.0), 3.1, 2.4)  # blind, in the ear frame
_EAR_PLACE = np.array([68.5, 3.0, -2.0])
_SLACK = 2.5


class _Detail(NamedTuple):
    """Finest cell of head and lone ear, and levels of eyes and mouth, face, and the rest."""

    head_step_mm: float
    ear_step_mm: float
    lines_level: int
    face_level: int
    rest_level: int


_DETAILS = {
    "full": _Detail(0.65, 0.5, 0, 1, 2),
    "small": _Detail(1.75, 1.0, 0, 1, 2),
}


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
        The missing left ear, closed, in its place: the mirror image of the right one.
    landmarks : dict of str to (3,) float64
        Positions by name, pairs ending in ``_right`` and ``_left``. ``tragion_left`` is where the missing
        ear would have it.
    pose : (4, 4) float64
        From the head frame (x right, y front, z up) to the scan.
    asymmetry_mm : float
        RMS displacement of the right side relative to perfect symmetry.
    true_values : TrueValues
        Volume, area, plane and landmarks of `scan`.
    """

    scan: ScanMesh
    true_plane: Plane
    true_ear: ScanMesh
    landmarks: dict[str, FloatArray]
    pose: FloatArray
    asymmetry_mm: float
    true_values: TrueValues


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class EarShape:
    """The right ear alone, in the ear frame: x to the front, y up along the ear, z out from the skin.

    Attributes
    ----------
    solid : Solid
        Closed; its back follows the skin.
    landmarks : dict of str to (3,) float64
        superaurale, subaurale, preaurale, postaurale, tragion and the most lateral point of the helix.
    length_mm, width_mm, projection_mm : float
        Superaurale to subaurale, preaurale to postaurale, and height of the helix over the skin.
    true_values : TrueValues
        The same as a table entry.
    """

    solid: Solid
    landmarks: dict[str, FloatArray]
    length_mm: float
    width_mm: float
    projection_mm: float
    true_values: TrueValues


def _ear_turn() -> FloatArray:
    """Return the rotation whose columns are the ear's axes in the head frame, tilted back."""
    axes = np.array([[0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
    return np.asarray(rotation(0, 12.0) @ axes)


def to_ear_frame(points: FloatArray) -> FloatArray:
    """Return (n, 3) points of the head frame in the frame of the right ear."""
    return times(points - _EAR_PLACE, _ear_turn())


def from_ear_frame(points: FloatArray) -> FloatArray:
    """Return (n, 3) points of the right ear's frame in the head frame."""
    return np.asarray(times(points, _ear_turn().T) + _EAR_PLACE)


def head_field(points: FloatArray) -> FloatArray:
    """Return the distance from the head with its right ear, in the head frame."""
    body = face(points)
    near = _into_ear_box(points) < 0.0
    local = to_ear_frame(points[near])
    joined = soft_min(body[near], auricle(local), 5.0)
    body[near] = carve(joined, round_cone(local, *_CANAL), 1.5)
    return body


def lone_ear_field(points: FloatArray) -> FloatArray:
    """Return the distance from the right ear over the skin, its back following the skin, in its frame."""
    return soft_max(auricle(points), -face(from_ear_frame(points)) - 1.2, 1.0)


def _into_ear_box(points: FloatArray) -> FloatArray:
    return np.asarray(np.maximum(EAR_BOX_MM[0] - points, points - EAR_BOX_MM[1]).max(axis=1))


def head_pose(seed: int = 0) -> FloatArray:
    """Return the rigid motion of the phantom, (4, 4), drawn from the seed."""
    rng = np.random.default_rng([seed, 1])
    angles = rng.uniform(8.0, 28.0, 3) * rng.choice([-1.0, 1.0], 3)
    pose = np.eye(4)
    pose[:3, :3] = rotation(2, angles[0]) @ rotation(1, angles[1]) @ rotation(0, angles[2])
    pose[:3, 3] = rng.uniform(-160.0, 160.0, 3)
    return pose


def moved(points: FloatArray, pose: FloatArray) -> FloatArray:
    """Return (n, 3) points moved by a 4 × 4 matrix."""
    return np.asarray(times(points, pose[:3, :3].T) + pose[:3, 3])


def phantom_head(detail: str = "full", *, seed: int = 0, asymmetry_mm: float = 0.0) -> PhantomHead:
    """Return the teaching phantom head, life size, its left ear missing.

    Parameters
    ----------
    detail : str
        ``full`` (about 200 000 triangles, 0.6 mm at the ear) or ``small`` (about 27 000, 1.75 mm).
    seed : int
        Draws the pose, and the form of the asymmetry if there is any.
    asymmetry_mm : float
        RMS displacement of the skin of the right half; 0 for a head whose right half is the exact mirror
        image of its left, the ear apart.

    Returns
    -------
    PhantomHead
        Scan, true plane, missing ear, landmarks.

    Raises
    ------
    UsageError
        For an unknown level of detail or an asymmetry outside 0 to 5 mm.

    Notes
    -----
    The surface is symmetric, its triangles are not. With an asymmetry, the displacements are chosen so that
    the true plane stays the least-squares one to first order.

    Examples
    --------
    >>> head = phantom_head("small")
    >>> pair = head.landmarks["exocanthion_right"] + head.landmarks["exocanthion_left"]
    >>> bool(abs(head.true_plane.distance_mm(pair / 2)) < 1e-9)
    True
    """
    levels = _details(detail)
    if not 0.0 <= asymmetry_mm <= 5.0:
        raise UsageError(
            f"An asymmetry of {asymmetry_mm:g} mm is outside 0 to 5 mm.", remedy="Give a smaller value."
        )
    vertices, faces = _posed_free(levels)
    marks = _landmarks()
    ear_vertices, ear_faces = _missing_ear(levels.ear_step_mm)
    if asymmetry_mm > 0.0:
        bend = warped(vertices, faces, rms_mm=asymmetry_mm, seed=seed)
        vertices, ear_vertices = bend(vertices), bend(ear_vertices)
        marks = {name: bend(place[None])[0] for name, place in marks.items()}
    pose = head_pose(seed)
    scan = ScanMesh(vertices=moved(vertices, pose), faces=faces)
    plane = Plane.through(pose[:3, 3], pose[:3, 0])
    landmarks = {name: moved(place[None], pose)[0] for name, place in marks.items()}
    return PhantomHead(
        scan=scan,
        true_plane=plane,
        true_ear=ScanMesh(vertices=moved(ear_vertices, pose), faces=ear_faces),
        landmarks=landmarks,
        pose=pose,
        asymmetry_mm=asymmetry_mm,
        true_values=true_values(f"head-{detail}", certify(scan), landmarks_mm=landmarks, plane=plane),
    )


def ear(detail: str = "full") -> EarShape:
    """Return the right ear alone, a closed solid whose back follows the skin.

    Parameters
    ----------
    detail : str
        ``full`` (0.45 mm) or ``small`` (1 mm).

    Raises
    ------
    UsageError
        For an unknown level of detail.

    Examples
    --------
    >>> 59.0 < ear("small").length_mm < 69.0
    True
    """
    body = _lone_ear(_details(detail).ear_step_mm)
    marks = {name: np.array(place) for name, place in ear_landmarks().items()}
    skin = hit(
        lambda p: face(from_ear_frame(p)),
        marks["helix_lateral"] + [0.0, 0.0, 30.0],
        (0.0, 0.0, -1.0),
        length_mm=90.0,
    )
    lengths = {
        "length": float(np.linalg.norm(marks["superaurale"] - marks["subaurale"])),
        "width": float(np.linalg.norm(marks["preaurale"] - marks["postaurale"])),
        "projection": float(marks["helix_lateral"][2] - skin[2]),
    }
    return EarShape(
        solid=body,
        landmarks=marks,
        length_mm=lengths["length"],
        width_mm=lengths["width"],
        projection_mm=lengths["projection"],
        true_values=true_values(f"ear-{detail}", body, landmarks_mm=marks, lengths_mm=lengths),
    )


def _details(detail: str) -> _Detail:
    if detail not in _DETAILS:
        raise UsageError(f"'{detail}' is not a level of detail.", remedy="Use 'full' or 'small'.")
    return _DETAILS[detail]


@cache
def _posed_free(detail: _Detail) -> tuple[FloatArray, IntArray]:
    """Return the symmetric head in its own frame."""

    def wanted(points: FloatArray) -> IntArray:
        level = np.full(len(points), detail.rest_level, dtype=np.int64)
        x, y, z = np.abs(points[:, 0]), points[:, 1], points[:, 2]
        level[(y > 58.0) & (x < 54.0) & (z > -96.0) & (z < 46.0)] = detail.face_level
        eyes = (y > 68.0) & (np.abs(x - 32.0) < 18.0) & (np.abs(z - 16.0) < 12.0)
        mouth = (y > 76.0) & (x < 31.0) & (np.abs(z + 40.0) < 22.0)
        level[eyes | mouth] = detail.lines_level
        level[_into_ear_box(points) < -6.0] = 0
        return level

    vertices, faces = surface(
        head_field,
        _HEAD_BOX_MM,
        step_mm=detail.head_step_mm,
        coarsest=detail.rest_level,
        wanted=wanted,
        slack=_SLACK,
    )
    vertices.flags.writeable = faces.flags.writeable = False
    return vertices, faces


@cache
def _lone_ear(step_mm: float) -> Solid:
    vertices, faces = surface(lone_ear_field, [[-42, -36, -12], [14, 44, 28]], step_mm=step_mm, slack=_SLACK)
    return certify(ScanMesh(vertices=vertices, faces=faces))


def _missing_ear(step_mm: float) -> tuple[FloatArray, IntArray]:
    """Return the left ear in the head frame, the mirror image of the right one."""
    mesh = _lone_ear(step_mm).mesh
    return from_ear_frame(mesh.vertices) * np.array([-1.0, 1.0, 1.0]), mesh.faces[:, ::-1]


def _landmarks() -> dict[str, FloatArray]:
    """Return all landmarks in the head frame; the left ones are mirror images."""
    right = {name: np.array(place) for name, place in face_landmarks().items()}
    notch = np.array(ear_landmarks()["tragion"])
    start = from_ear_frame(notch[None] + [0.0, 0.0, 20.0])[0]
    right["tragion"] = hit(head_field, start, -_ear_turn()[:, 2], length_mm=30.0)
    marks = {name: right[name] for name in MIDLINE}
    for name in sorted(set(right) - set(MIDLINE)):
        marks[f"{name}_right"] = right[name]
        marks[f"{name}_left"] = right[name] * np.array([-1.0, 1.0, 1.0])
    return marks
