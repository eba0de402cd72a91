"""Plain solids whose volume and area have a closed form."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import elliprg

from mirrorprep.errors import UsageError
from mirrorprep.solid.certify import certify
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.primitives import box
from mirrorprep.solid.solid import Solid, union

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PlainShape:
    """A plain solid with the values of the ideal body.

    Attributes
    ----------
    name : str
        One of `PLAIN_NAMES`.
    solid : Solid
        Its mesh; vertices of curved bodies lie on the ideal surface.
    volume_mm3, area_mm2 : float
        Closed forms of the ideal body, not of the mesh.
    formula : str
        The closed forms, in words of the trade.
    flat : bool
        True when the mesh is the ideal body itself.
    """

    name: str
    solid: Solid
    volume_mm3: float
    area_mm2: float
    formula: str
    flat: bool


def revolved(profile_mm: ArrayLike, segments: int) -> Solid:
    """Return the solid that an (n, 2) profile of radius and height sweeps about the z axis.

    The profile runs from the lowest point on the axis to the highest, seen with the axis on its left.

    Examples
    --------
    >>> cone = revolved([(0, 0), (3, 0), (0, 4)], 512)
    >>> abs(cone.volume_mm3 / (math.pi * 9 * 4 / 3) - 1) < 1e-4
    True
    """
    profile = np.asarray(profile_mm, dtype=np.float64)
    ring = profile[1:-1]
    angle = 2.0 * np.pi * np.arange(segments) / segments
    circle = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    body = np.concatenate(
        [ring[:, :1, None] * circle, np.broadcast_to(ring[:, 1:, None], (len(ring), segments, 1))], axis=2
    ).reshape(-1, 3)
    poles = np.array([[0.0, 0.0, profile[0, 1]], [0.0, 0.0, profile[-1, 1]]])
    here = np.arange(segments)
    after = (here + 1) % segments
    low = segments * np.arange(len(ring) - 1)[:, None]
    high = low + segments
    faces = [
        np.stack([low + here, low + after, high + after], axis=-1).reshape(-1, 3),
        np.stack([low + here, high + after, high + here], axis=-1).reshape(-1, 3),
        np.stack([np.full(segments, len(body)), after, here], axis=1),
        np.stack(
            [np.full(segments, len(body) + 1), low[-1] + segments + here, low[-1] + segments + after], axis=1
        )
        if len(ring) > 1
        else np.stack([np.full(segments, len(body) + 1), here, after], axis=1),
    ]
    return certify(ScanMesh(vertices=np.vstack([body, poles]), faces=np.concatenate(faces)))


def _arc(radius: float, start_deg: float, stop_deg: float, count: int, *, height: float = 0.0) -> FloatArray:
    """Return radius and height along an arc about the axis point at `height`, angles from straight down."""
    angle = np.radians(np.linspace(start_deg, stop_deg, count))
    points = np.stack([radius * np.sin(angle), height - radius * np.cos(angle)], axis=1)
    points[np.abs(points[:, 0]) < 1e-12, 0] = 0.0
    return points


def _scaled(solid: Solid, factors: tuple[float, float, float]) -> Solid:
    return solid.transformed(np.diag([*factors, 1.0]))


def _ball(radius: float, segments: int) -> Solid:
    return revolved(_arc(radius, 0.0, 180.0, segments // 2 + 1), segments)


def ellipsoid_area_mm2(a: float, b: float, c: float) -> float:
    """Return the area of an ellipsoid: 4 π a b c R_G(a⁻², b⁻², c⁻²), Carlson's symmetric integral.

    Examples
    --------
    >>> round(ellipsoid_area_mm2(30, 20, 10), 6)
    4888.21463
    """
    return float(4.0 * math.pi * a * b * c * elliprg(a**-2, b**-2, c**-2))


def _sphere(n: int) -> tuple[Solid, float, float]:
    return _ball(10.0, n), 4 / 3 * math.pi * 10**3, 4 * math.pi * 10**2


def _ellipsoid(n: int, axes: tuple[float, float, float]) -> tuple[Solid, float, float]:
    a, b, c = axes
    return _scaled(_ball(1.0, n), axes), 4 / 3 * math.pi * a * b * c, ellipsoid_area_mm2(a, b, c)


def _torus(n: int) -> tuple[Solid, float, float]:
    big, small = 20.0, 5.0
    around, across = 2 * n, n
    u = 2 * np.pi * np.arange(around)[:, None] / around
    v = 2 * np.pi * np.arange(across)[None, :] / across
    reach = big + small * np.cos(v)
    points = np.stack([reach * np.cos(u), reach * np.sin(u), small * np.sin(v) + 0.0 * u], axis=-1)
    i, j = np.meshgrid(np.arange(around), np.arange(across), indexing="ij")
    k, m = (i + 1) % around, (j + 1) % across
    corner = np.stack([i * across + j, k * across + j, k * across + m, i * across + m], axis=-1).reshape(
        -1, 4
    )
    faces = np.concatenate([corner[:, [0, 1, 2]], corner[:, [0, 2, 3]]])
    solid = certify(ScanMesh(vertices=points.reshape(-1, 3), faces=faces))
    return solid, 2 * math.pi**2 * big * small**2, 4 * math.pi**2 * big * small


def _frustum(n: int) -> tuple[Solid, float, float]:
    bottom, top, height = 10.0, 5.0, 20.0
    slant = math.hypot(height, bottom - top)
    area = math.pi * ((bottom + top) * slant + bottom**2 + top**2)
    volume = math.pi * height / 3 * (bottom**2 + bottom * top + top**2)
    return revolved([(0, 0), (bottom, 0), (top, height), (0, height)], n), volume, area


def _cap(n: int) -> tuple[Solid, float, float]:
    radius, height = 10.0, 4.0
    rim = math.degrees(math.acos((height - radius) / radius))  # from straight down
    arc = _arc(radius, rim, 180.0, n // 2 + 1)
    profile = np.vstack([[0.0, radius - height], arc])
    base = math.pi * (radius**2 - (radius - height) ** 2)
    volume = math.pi * height**2 * (3 * radius - height) / 3
    return revolved(profile, n), volume, 2 * math.pi * radius * height + base


def _capsule(n: int) -> tuple[Solid, float, float]:
    radius, length = 5.0, 20.0
    low = _arc(radius, 0.0, 90.0, n // 4 + 1, height=-length / 2)
    high = _arc(radius, 90.0, 180.0, n // 4 + 1, height=length / 2)
    volume = math.pi * radius**2 * length + 4 / 3 * math.pi * radius**3
    return revolved(np.vstack([low, high]), n), volume, 2 * math.pi * radius * (length + 2 * radius)


def _lens(n: int, first: float, second: float, distance: float) -> tuple[Solid, float, float]:
    """Return the common part of two balls, the second one `distance` above the first."""
    cut = (distance**2 + first**2 - second**2) / (2 * distance)
    low_rim = math.degrees(math.acos((distance - cut) / second))
    high_rim = 180.0 - math.degrees(math.acos(cut / first))
    low = _arc(second, 0.0, low_rim, n // 4 + 1, height=distance)
    high = _arc(first, high_rim, 180.0, n // 4 + 1)
    heights = (second - (distance - cut), first - cut)
    area = 2 * math.pi * (second * heights[0] + first * heights[1])
    span = (first + second - distance) ** 2
    inner = distance**2 + 2 * distance * (first + second) - 3 * (first - second) ** 2
    return revolved(np.vstack([low, high[1:]]), n), math.pi * span * inner / (12 * distance), area


def _tetrahedron(corners: ArrayLike) -> Solid:
    faces = np.array([[0, 2, 1], [0, 3, 2], [0, 1, 3], [1, 2, 3]])
    return certify(ScanMesh(vertices=np.asarray(corners, dtype=np.float64), faces=faces))


def _regular_tetrahedron(_n: int) -> tuple[Solid, float, float]:
    edge = 10.0
    corners = edge / math.sqrt(8.0) * np.array([[1, 1, 1], [-1, 1, -1], [1, -1, -1], [-1, -1, 1]])
    return _tetrahedron(corners), edge**3 / (6 * math.sqrt(2)), math.sqrt(3) * edge**2


def _corner_tetrahedron(_n: int) -> tuple[Solid, float, float]:
    a, b, c = 3.0, 5.0, 7.0
    slope = math.sqrt((a * b) ** 2 + (b * c) ** 2 + (c * a) ** 2)
    solid = _tetrahedron(np.vstack([np.zeros(3), np.diag([a, b, c])]))
    return solid, a * b * c / 6, (a * b + b * c + c * a + slope) / 2


def _box(_n: int) -> tuple[Solid, float, float]:
    a, b, c = 20.0, 30.0, 40.0
    return box([a, b, c]), a * b * c, 2 * (a * b + b * c + c * a)


def _towers(_n: int) -> tuple[Solid, float, float]:
    """Return a plate with two towers of unequal height: poured from the plate, each tower holds air."""
    plate, foot, heights = (60.0, 30.0, 6.0), 12.0, (24.0, 16.0)
    parts = [box(plate, center_mm=(0.0, 0.0, plate[2] / 2))]
    for place, height in zip((-16.0, 16.0), heights, strict=True):
        parts.append(box([foot, foot, height + 3.0], center_mm=(place, 0.0, plate[2] + height / 2 - 1.5)))
    a, b, c = plate
    volume = a * b * c + foot**2 * sum(heights)
    return union(parts), volume, 2 * (a * b + b * c + c * a) + 4 * foot * sum(heights)


_Builder = Callable[[int], tuple[Solid, float, float]]
_BUILDERS: dict[str, tuple[_Builder, str, bool]] = {
    "sphere": (_sphere, "R = 10: 4/3 π R³; 4 π R²", False),
    "ellipsoid": (lambda n: _ellipsoid(n, (30, 20, 10)), "4/3 π a b c; 4 π a b c R_G(a⁻², b⁻², c⁻²)", False),
    "ear-box-ellipsoid": (
        lambda n: _ellipsoid(n, (31.5, 18, 9)),
        "as ellipsoid, in a 63 × 36 × 18 box",
        False,
    ),
    "torus": (_torus, "R = 20, r = 5: 2 π² R r²; 4 π² R r", False),
    "frustum": (_frustum, "R₁ = 10, R₂ = 5, h = 20: π h/3 (R₁² + R₁ R₂ + R₂²)", False),
    "cap": (_cap, "R = 10, h = 4: π h² (3 R − h)/3; 2 π R h and its base", False),
    "capsule": (_capsule, "r = 5, L = 20: π r² L + 4/3 π r³; 2 π r (L + 2 r)", False),
    "lens": (lambda n: _lens(n, 10, 8, 12), "balls R₁ = 10, R₂ = 8, d = 12: two caps", False),
    "equal-lens": (lambda n: _lens(n, 10, 10, 10), "balls R = 10, d = 10: π (4 R + d)(2 R − d)²/12", False),
    "tetrahedron": (_regular_tetrahedron, "a = 10: a³/(6 √2); √3 a²", True),
    "corner-tetrahedron": (_corner_tetrahedron, "a, b, c = 3, 5, 7: a b c/6", True),
    "box": (_box, "20 × 30 × 40", True),
    "towers": (_towers, "plate 60 × 30 × 6 with towers 12 × 12 × 24 and 12 × 12 × 16", True),
}
PLAIN_NAMES: Final[tuple[str, ...]] = tuple(_BUILDERS)


def plain(name: str, *, segments: int = 128) -> PlainShape:
    """Return a plain solid and the closed forms of its volume and area.

    Parameters
    ----------
    name : str
        One of `PLAIN_NAMES`.
    segments : int
        Corners of a full circle, a multiple of 4, at least 8. The volume of the mesh falls short of the
        closed form by about 16/segments², relatively.

    Returns
    -------
    PlainShape
        Solid and closed forms.

    Raises
    ------
    UsageError
        For an unknown name or too few segments.

    Examples
    --------
    >>> shape = plain("sphere")
    >>> round(shape.volume_mm3, 6)
    4188.790205
    """
    if name not in _BUILDERS:
        raise UsageError(f"'{name}' is not a plain shape.", remedy=f"Use one of {', '.join(PLAIN_NAMES)}.")
    if segments < 8 or segments % 4:
        raise UsageError(f"{segments} segments do not make a circle here.", remedy="Give 8, 12, 16 or more.")
    build, formula, flat = _BUILDERS[name]
    solid, volume, area = build(segments)
    return PlainShape(name=name, solid=solid, volume_mm3=volume, area_mm2=area, formula=formula, flat=flat)
