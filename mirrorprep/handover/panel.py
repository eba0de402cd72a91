"""One panel: bodies drawn off-screen by VTK with a parallel projection, as plain arrays."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache, lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.handover.display import open_window
from mirrorprep.handover.palette import PAPER, rgb
from mirrorprep.handover.shading import corner_normals

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Pixels = NDArray[np.uint8]

SMOOTH_BELOW_DEG: Final = 40.0
"""Edges sharper than this keep their crease in shading."""


MARGIN: Final = 0.06
"""Free share of a picture on each side."""

_NUMBER_STEP: Final = 8  # so that a rounded colour is still the same number


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
    depth_mm : (h, w) float64
        Distance behind the nearest plane of the frame; infinite on the background.
    identity : (h, w) int64
        Number of the body seen, counted from 0; −1 on the background.
    share : (h, w) float64
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
    depth_mm: FloatArray
    identity: IntArray
    share: FloatArray
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
    _window()  # loads the graphics, without which VTK makes actors that draw nothing
    actors = [_actor(body, camera) for body in bodies]
    peeled = any(body.opacity < 1 for body in bodies)
    image, depth = _render(actors, camera, size_px, background=PAPER, peeled=peeled)
    _show_numbers(actors, bodies)
    numbers, _ = _render(actors, camera, size_px, background="#000000", peeled=False)
    return Shot(
        image=image,
        depth_mm=np.where(depth < 1.0, depth * (near + far), np.inf),
        identity=np.rint(numbers[:, :, 0] / _NUMBER_STEP).astype(np.int64) - 1,
        share=1 - numbers[:, :, 1] / 255,
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


def _render(
    actors: Sequence[Any], camera: _Camera, size_px: tuple[int, int], *, background: str, peeled: bool
) -> tuple[Pixels, FloatArray]:
    """Return the colours and the depths, from 0 to 1, of all actors."""
    from vtkmodules.util.numpy_support import vtk_to_numpy
    from vtkmodules.vtkCommonCore import vtkFloatArray, vtkUnsignedCharArray
    from vtkmodules.vtkRenderingCore import vtkRenderer

    window = _window()
    renderer = vtkRenderer()
    renderer.SetBackground(*rgb(background))
    for actor in actors:
        renderer.AddActor(actor)
    if peeled:
        renderer.SetUseDepthPeeling(1)
        renderer.SetMaximumNumberOfPeels(8)
        renderer.SetOcclusionRatio(0.0)
    _add_lights(renderer)
    _aim(renderer, camera, size_px)
    window.SetSize(*size_px)
    window.AddRenderer(renderer)
    try:
        window.Render()
        width, height = size_px
        pixels, depths = vtkUnsignedCharArray(), vtkFloatArray()
        window.GetPixelData(0, 0, width - 1, height - 1, 0, pixels, 0)
        window.GetZbufferData(0, 0, width - 1, height - 1, depths)
        image = vtk_to_numpy(pixels).reshape(height, width, 3)[::-1].copy()
        depth = vtk_to_numpy(depths).reshape(height, width)[::-1].astype(np.float64)
    finally:
        window.RemoveRenderer(renderer)
        renderer.ReleaseGraphicsResources(window)
    return image, depth


def _actor(body: Body, camera: _Camera) -> Any:  # noqa: ANN401
    from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper

    mapper = vtkPolyDataMapper()
    mapper.SetInputData(_poly_data(body, camera.center))
    mapper.SetScalarVisibility(body.colors is not None)
    actor = vtkActor()
    actor.SetMapper(mapper)
    surface = actor.GetProperty()
    surface.SetColor(*rgb(body.color))
    surface.SetOpacity(body.opacity)
    surface.SetAmbient(0.30)
    surface.SetDiffuse(0.85)
    surface.SetSpecular(0.06)
    surface.SetSpecularPower(18)
    return actor


def _show_numbers(actors: Sequence[Any], bodies: Sequence[Body]) -> None:
    """Colour each opaque body with its number in red and its place on a map in green, without light."""
    from vtkmodules.util.numpy_support import numpy_to_vtk

    for number, (actor, body) in enumerate(zip(actors, bodies, strict=True)):
        mapper, surface = actor.GetMapper(), actor.GetProperty()
        red = (number + 1) * _NUMBER_STEP
        if body.shares is None:
            mapper.ScalarVisibilityOff()
            surface.SetColor(red / 255, 0.0, 0.0)
        else:
            codes = np.zeros((body.faces.size, 3), dtype=np.uint8)
            codes[:, 0] = red
            codes[:, 1] = np.rint(255 * (1 - np.clip(body.shares[body.faces.ravel()], 0, 1)))
            mapper.ScalarVisibilityOn()
            mapper.GetInput().GetPointData().SetScalars(numpy_to_vtk(codes, deep=True))
        surface.LightingOff()
        surface.SetAmbient(1.0)
        surface.SetDiffuse(0.0)
        actor.SetVisibility(body.opacity >= 1)


@lru_cache(maxsize=4)
def _normals(body: Body) -> NDArray[np.float32]:
    """Return the normals of a body's corners; the panels of one picture often show the same bodies."""
    return corner_normals(body.vertices, body.faces, crease_deg=SMOOTH_BELOW_DEG).astype(np.float32)


def _poly_data(body: Body, center_mm: FloatArray) -> Any:  # noqa: ANN401
    """Return the faces with corners of their own, so that normals can break at creases.

    Positions count from the middle of the picture: the graphics work with 32-bit numbers.
    """
    from vtkmodules.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray
    from vtkmodules.vtkCommonCore import vtkPoints
    from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkPolyData

    corners, normals = body.faces.ravel(), _normals(body)
    data, points, cells = vtkPolyData(), vtkPoints(), vtkCellArray()
    positions = (body.vertices[corners] - center_mm).astype(np.float32)
    points.SetData(numpy_to_vtk(positions, deep=True))
    cells.SetData(3, numpy_to_vtkIdTypeArray(np.arange(len(corners), dtype=np.int64), deep=True))
    data.SetPoints(points)
    data.SetPolys(cells)
    data.GetPointData().SetNormals(numpy_to_vtk(normals, deep=True))
    if body.colors is not None:
        per_vertex = len(body.colors) == len(body.vertices)
        colors = body.colors[corners] if per_vertex else np.repeat(body.colors, 3, axis=0)
        data.GetPointData().SetScalars(numpy_to_vtk(np.ascontiguousarray(colors), deep=True))
    return data


def _add_lights(renderer: Any) -> None:  # noqa: ANN401
    """Key light from the upper left, a fill from the right and a little from the eye."""
    from vtkmodules.vtkRenderingCore import vtkLight

    renderer.AutomaticLightCreationOff()
    for place, strength in (((-0.7, 0.9, 1.0), 0.62), ((1.0, 0.15, 0.6), 0.22), ((0.0, -0.2, 1.0), 0.30)):
        light = vtkLight()
        light.SetLightTypeToCameraLight()
        light.SetPosition(*place)
        light.SetFocalPoint(0, 0, 0)
        light.SetIntensity(strength)
        renderer.AddLight(light)


def _aim(renderer: Any, camera: _Camera, size_px: tuple[int, int]) -> None:  # noqa: ANN401
    eye = camera.axes[2] * (camera.near + 1.0)
    lens = renderer.GetActiveCamera()
    lens.ParallelProjectionOn()
    lens.SetFocalPoint(0.0, 0.0, 0.0)
    lens.SetPosition(*eye)
    lens.SetViewUp(*camera.axes[1])
    lens.SetParallelScale(camera.scale * size_px[1] / 2)
    lens.SetClippingRange(1.0, 1.0 + camera.near + camera.far)
