"""The pictures of the README: head and ear, and the fox."""

from pathlib import Path

from numpy.typing import ArrayLike

from demo_shapes.animal import animal
from demo_shapes.head import ear, phantom_head
from mirrorprep.handover.atomic import write_bytes
from mirrorprep.handover.bodies import body, three
from mirrorprep.handover.palette import SCAN
from mirrorprep.handover.panel import View
from mirrorprep.handover.sheet import PanelSpec, strip

_SKIN, _WOOD = SCAN, "#b98a5e"
_WIDTH_PX, _HEIGHT_PX = 300, 370


def picture_head(detail: str = "full") -> bytes:
    """Return a PNG of the head from two sides and of the ear alone."""
    phantom = phantom_head(detail)
    right, front, up = phantom.pose[:3, :3].T
    whole = body(phantom.scan, _SKIN)
    lone = body(ear(detail).solid, _SKIN)
    views = [
        PanelSpec(bodies=[whole], view=_view(0.75 * front + right, up), title="head, right side"),
        PanelSpec(bodies=[whole], view=_view(0.9 * front - 0.55 * right, up), title="left ear missing"),
        PanelSpec(bodies=[lone], view=_view((0.1, 0.0, 1.0), (0.0, 1.0, 0.0)), title="ear alone"),
    ]
    return strip(views, panel_px=(_WIDTH_PX, _HEIGHT_PX), common_scale=False).png()


def picture_animal(detail: str = "full") -> bytes:
    """Return a PNG of the fox from three sides."""
    fox = body(animal(detail).solid, _WOOD)
    eyes = {"front": (0.45, 1.0, 0.15), "right side": (1.0, 0.1, 0.15), "back": (-0.8, -0.8, 0.25)}
    views = [
        PanelSpec(bodies=[fox], view=_view(toward, (0.0, 0.0, 1.0)), title=title)
        for title, toward in eyes.items()
    ]
    return strip(views, panel_px=(_WIDTH_PX, _HEIGHT_PX)).png()


def _view(toward: ArrayLike, up: ArrayLike) -> View:
    return View(toward=three(toward), up=three(up))


def write_pictures(folder: Path, *, detail: str = "full", overwrite: bool = False) -> list[Path]:
    """Write both pictures and return their paths."""
    return [
        write_bytes(folder / "head.png", picture_head(detail), overwrite=overwrite),
        write_bytes(folder / "animal.png", picture_animal(detail), overwrite=overwrite),
    ]
