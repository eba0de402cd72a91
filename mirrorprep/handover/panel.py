"""One panel: bodies drawn off-screen by VTK with a parallel projection, as plain arrays."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache, lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.handover.display import open_window
from mirrorprep.handover.palette import PAPER, rgb
from mirrorprep.handover.shading import Shading, lit, shading

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Pixels = NDArray[np.uint8]

SMOOTH_BELOW_DEG: Final = 40.0
"""Edges sharper than this keep their crease in shading."""


MARGIN: Final = 0.06
"""Free share of a picture on each side."""

_NUMBER_STEP: Final = 8  # so that a rounded colour is still the same number
_IDENTITIES: Final = np.rint(np.arange(256) / _NUMBER_STEP).astype(np.int16) - np.int16(1)
_FACES_OF_A_SHEET: Final = 2  # one flat sheet is seen through without sorting
_SHARES: Final = (1 - np.arange(256) / 255).astype(np.float32)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Body:
    """Something to draw.

    Attributes
    ----------
    vertices : (n, 3) float64
        Positions in mm.
    faces : (m, 3) int64
        Vertex indices.
    color : str
        ``#rrggbb``, used where `colors` is None.
    colors : (n, 3) or (m, 3) uint8 or None
        One colour per vertex or per face.
    shares : (n,) float64 or None
        For a signed map the place of each vertex on its range, 0 to 1: below 0.5 contour lines are drawn,
        which keep the sign legible in grey.
    opacity : float
        1 is opaque.
    hatch_deg : float or None
        Angle of section lines, for cut faces; None for none.
    outlined : bool
        Whether its outline is drawn.
    """

    vertices: FloatArray
    faces: IntArray
    color: str = "#d8cdbb"
    colors: Pixels | None = None
    shares: FloatArray | None = None
    opacity: float = 1.0
    hatch_deg: float | None = None
    outlined: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """Where the eye is: a direction from the object to the eye and the direction that is up.

    Examples
    --------
    >>> View(toward=(0, -1, 0), up=(0, 0, 1)).axes()[0].round().astype(int).tolist()
    [1, 0, 0]
    """

    toward: tuple[float, float, float]
    up: tuple[float, float, float] = (0.0, 0.0, 1.0)

    def axes(self) -> FloatArray:
        """Return right, up and toward as orthonormal rows, shape (3, 3)."""
        toward = np.asarray(self.toward, dtype=np.float64)
        toward = toward / np.linalg.norm(toward)
        up = np.asarray(self.up, dtype=np.float64)
        right = np.cross(up, toward)
        if np.linalg.norm(right) < 1e-9 * np.linalg.norm(up):  # looking straight along 'up'
            right = np.cross(np.eye(3)[int(np.argmin(np.abs(toward)))], toward)
        right = right / np.linalg.norm(right)
        return np.stack([right, np.cross(toward, right), toward])


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Shot:
    """A drawn panel.

    Attributes
    ----------
    image : (h, w, 3) uint8
        Lit and coloured.
    depth_mm : (h, w) float32
        Distance behind the nearest plane of the frame; infinite on the background.
    identity : (h, w) int16
        Number of the body seen, counted from 0; −1 on the background.
    share : (h, w) float32
        Place on the range of a signed map; 1 where there is none.
    mm_per_px : float
        Size of a pixel.
    view : View
        The eye.
    center_mm : (3,) float64
        The point in the middle of the picture.
    near_mm : float
        Distance of the nearest plane from the middle, towards the eye.
    """

    image: Pixels
    depth_mm: NDArray[np.float32]
    identity: NDArray[np.int16]
    share: NDArray[np.float32]
    mm_per_px: float
    view: View
    center_mm: FloatArray
    near_mm: float
    bodies: tuple[Body, ...] = field(default=(), repr=False)

    def place(self, points_mm: ArrayLike) -> FloatArray:
        """Return column, row and depth of (n, 3) points, shape (n, 3)."""
        local = (np.asarray(points_mm, dtype=np.float64).reshape(-1, 3) - self.center_mm) @ self.view.axes().T
        height, width = self.depth_mm.shape
        column = width / 2 + local[:, 0] / self.mm_per_px - 0.5
        row = height / 2 - local[:, 1] / self.mm_per_px - 0.5
        return np.stack([column, row, self.near_mm - local[:, 2]], axis=1)

    def visible(self, points_mm: ArrayLike, *, slack_mm: float) -> NDArray[np.bool_]:
        """Return which points nothing hides."""
        placed = self.place(points_mm)
        height, width = self.depth_mm.shape
        column = np.clip(np.round(placed[:, 0]), 0, width - 1).astype(np.int64)
        row = np.clip(np.round(placed[:, 1]), 0, height - 1).astype(np.int64)
        return np.asarray(placed[:, 2] <= self.depth_mm[row, column] + slack_mm)


def fitting_scale(bodies: Sequence[Body], view: View, size_px: tuple[int, int]) -> float:
    """Return the mm per pixel at which the bodies fill a picture but for a margin on each side."""
    low, high = _extent(bodies, view.axes())
    room = np.array(size_px) * (1 - 2 * MARGIN)
    return float(max(np.maximum(high - low, 1e-6)[:2] / room))


def draw(
    bodies: Sequence[Body], view: View, *, size_px: tuple[int, int], mm_per_px: float | None = None
) -> Shot:
    """Draw bodies in a parallel projection, in the middle of the picture.

    Parameters
    ----------
    bodies : sequence of Body
        What to draw.
    view : View
        The eye.
    size_px : (int, int)
        Width and height.
    mm_per_px : float, optional
        The scale; by default the bodies fill the frame.

    Returns
    -------
    Shot
        The image and what lies behind its pixels.

    Raises
    ------
    OutputError
        If this machine cannot draw off-screen.
    """
    axes = view.axes()
    low, high = _extent(bodies, axes)
    middle = (low + high) / 2
    scale = mm_per_px or fitting_scale(bodies, view, size_px)
    near = float(high[2] - middle[2]) + 1.0
    far = float(middle[2] - low[2]) + 1.0
    camera = _Camera(center=middle @ axes, axes=axes, scale=scale, near=near, far=far)
    image, depth, numbers = _photographed(bodies, camera, size_px)
    return Shot(
        image=image,
        depth_mm=np.where(depth < 1.0, depth * np.float32(near + far), np.float32(np.inf)),
        identity=_IDENTITIES[numbers[0]],
        share=_SHARES[numbers[1]],
        mm_per_px=scale,
        view=view,
        center_mm=camera.center,
        near_mm=near,
        bodies=tuple(bodies),
    )


def _extent(bodies: Sequence[Body], axes: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the lowest and highest corner of all bodies along the axes of the eye."""
    reaches = [body.vertices @ axes.T for body in bodies]
    low = np.min([reach.min(axis=0) for reach in reaches], axis=0)
    high = np.max([reach.max(axis=0) for reach in reaches], axis=0)
    return np.asarray(low), np.asarray(high)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Camera:
    center: FloatArray
    axes: FloatArray
    scale: float
    near: float
    far: float


@cache
def _window() -> Any:  # noqa: ANN401 - VTK has no types
    return open_window()


def _photographed(
    bodies: Sequence[Body], camera: _Camera, size_px: tuple[int, int]
) -> tuple[Pixels, NDArray[np.float32], Pixels]:
    """Return the picture, the depths from 0 to 1, and two layers of numbers: of the body, of the share."""
    from vtkmodules.vtkRenderingCore import vtkRenderer

    window = _window()  # loads the graphics, without which VTK makes actors that draw nothing
    made = [_actor(body, camera) for body in bodies]
    renderer = vtkRenderer()
    for actor, _ in made:
        renderer.AddActor(actor)
    _aim(renderer, camera, size_px)
    window.SetSize(*size_px)
    window.AddRenderer(renderer)
    try:
        renderer.SetBackground(*rgb(PAPER))
        if sum(len(body.faces) for body in bodies if body.opacity < 1) > _FACES_OF_A_SHEET:
            _let_see_through(renderer)
        image = _rendered(window, size_px)
        depth = _depths(window, size_px)
        lone = _lone_number(bodies)
        if lone is not None:
            return image, depth, np.where(depth < 1.0, np.array([lone, 0], dtype=np.uint8)[:, None, None], 0)
        renderer.SetBackground(0.0, 0.0, 0.0)
        for number, ((actor, shaded), body) in enumerate(zip(made, bodies, strict=True)):
            _show_number(actor, shaded, body, number)
        renderer.SetUseDepthPeeling(0)
        numbers = _rendered(window, size_px)
    finally:
        window.RemoveRenderer(renderer)
        renderer.ReleaseGraphicsResources(window)
    return image, depth, np.moveaxis(numbers[:, :, :2], 2, 0)


def _lone_number(bodies: Sequence[Body]) -> int | None:
    """Return the number of the only opaque body, when its depth tells all; it has no map."""
    opaque = [number for number, body in enumerate(bodies) if body.opacity >= 1]
    if len(opaque) != 1 or bodies[opaque[0]].shares is not None:
        return None
    return (opaque[0] + 1) * _NUMBER_STEP


def _let_see_through(renderer: Any) -> None:  # noqa: ANN401
    renderer.SetUseDepthPeeling(1)
    renderer.SetMaximumNumberOfPeels(8)
    renderer.SetOcclusionRatio(0.0)


def _rendered(window: Any, size_px: tuple[int, int]) -> Pixels:  # noqa: ANN401
    from vtkmodules.util.numpy_support import vtk_to_numpy
    from vtkmodules.vtkCommonCore import vtkUnsignedCharArray

    window.Render()
    (width, height), pixels = size_px, vtkUnsignedCharArray()
    window.GetPixelData(0, 0, width - 1, height - 1, 0, pixels, 0)
    return np.asarray(vtk_to_numpy(pixels).reshape(height, width, 3)[::-1].copy())


def _depths(window: Any, size_px: tuple[int, int]) -> NDArray[np.float32]:  # noqa: ANN401
    from vtkmodules.util.numpy_support import vtk_to_numpy
    from vtkmodules.vtkCommonCore import vtkFloatArray

    (width, height), depths = size_px, vtkFloatArray()
    window.GetZbufferData(0, 0, width - 1, height - 1, depths)
    return np.asarray(vtk_to_numpy(depths).reshape(height, width)[::-1].copy())


def _actor(body: Body, camera: _Camera) -> tuple[Any, Shading]:
    """Return a body with its light in the colours of its vertices, and the shading they come from."""
    from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper

    shaded = _shading(_Surface(body.vertices, body.faces))
    colors = rgb(body.color)
    if body.colors is not None and len(body.colors) == len(body.vertices):
        colors = body.colors[shaded.source] / 255
    elif body.colors is not None:
        shaded, colors = shaded.per_corner(), np.repeat(body.colors, 3, axis=0) / 255
    mapper = vtkPolyDataMapper()
    mapper.SetInputData(_poly_data(body, shaded, camera.center))
    actor = vtkActor()
    actor.SetMapper(mapper)
    surface = actor.GetProperty()
    surface.LightingOff()
    surface.SetOpacity(body.opacity)
    _paint(actor, lit(shaded, colors, camera.axes))
    return actor, shaded


def _paint(actor: Any, colors: Pixels) -> None:  # noqa: ANN401
    from vtkmodules.util.numpy_support import numpy_to_vtk

    actor.GetMapper().GetInput().GetPointData().SetScalars(numpy_to_vtk(colors, deep=True))


def _show_number(actor: Any, shaded: Shading, body: Body, number: int) -> None:  # noqa: ANN401
    """Colour an opaque body with its number in red and its place on a map in green; hide the others."""
    codes = np.zeros((len(shaded.source), 3), dtype=np.uint8)
    codes[:, 0] = (number + 1) * _NUMBER_STEP
    if body.shares is not None:
        codes[:, 1] = np.rint(255 * (1 - np.clip(body.shares[shaded.source], 0, 1)))
    _paint(actor, codes)
    actor.SetVisibility(body.opacity >= 1)


class _Surface:
    """Vertices and faces, the same as others when they are the same arrays."""

    __slots__ = ("faces", "vertices")

    def __init__(self, vertices: FloatArray, faces: IntArray) -> None:
        self.vertices, self.faces = vertices, faces

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Surface) and other.vertices is self.vertices and other.faces is self.faces

    def __hash__(self) -> int:
        return hash((id(self.vertices), id(self.faces)))


@lru_cache(maxsize=4)
def _shading(surface: _Surface) -> Shading:
    """Return the normals of a surface; the panels of one picture, and others, often show the same."""
    return shading(surface.vertices, surface.faces, crease_deg=SMOOTH_BELOW_DEG)


def _poly_data(body: Body, shaded: Shading, center_mm: FloatArray) -> Any:  # noqa: ANN401
    """Return the triangles; positions count from the middle of the picture: graphics use 32-bit numbers."""
    from vtkmodules.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray
    from vtkmodules.vtkCommonCore import vtkPoints
    from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkPolyData

    data, points, cells = vtkPolyData(), vtkPoints(), vtkCellArray()
    positions = (body.vertices - center_mm).astype(np.float32)[shaded.source]
    points.SetData(numpy_to_vtk(positions, deep=True))
    cells.SetData(3, numpy_to_vtkIdTypeArray(shaded.faces.ravel(), deep=True))
    data.SetPoints(points)
    data.SetPolys(cells)
    return data


def _aim(renderer: Any, camera: _Camera, size_px: tuple[int, int]) -> None:  # noqa: ANN401
    eye = camera.axes[2] * (camera.near + 1.0)
    lens = renderer.GetActiveCamera()
    lens.ParallelProjectionOn()
    lens.SetFocalPoint(0.0, 0.0, 0.0)
    lens.SetPosition(*eye)
    lens.SetViewUp(*camera.axes[1])
    lens.SetParallelScale(camera.scale * size_px[1] / 2)
    lens.SetClippingRange(1.0, 1.0 + camera.near + camera.far)
