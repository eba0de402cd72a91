"""The scene of the view in three dimensions, and its packing for the page."""

import base64
import gzip
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.errors import UsageError
from mirrorprep.handover.decimation import view_copies
from mirrorprep.handover.palette import DEPTH, PART, PLANE, SIGNED, rounded_range
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.primitives import frame_along
from mirrorprep.solid.solid import Solid

FloatArray = NDArray[np.float64]

VIEW_TRIANGLES: Final = 100_000
"""Triangles that the page shows at most, all bodies together."""

_STEPS: Final = 65535
_OPENING: Final = 1.2  # way of each half when fully open, as a share of the closed mould's height


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class SceneBody:
    """A body of the scene.

    Attributes
    ----------
    name : str
        Shown beside its check box.
    mesh : ScanMesh or Solid
        In mm.
    color : str
        ``#rrggbb``.
    opens : int
        1 moves along the pull direction when the mould opens, −1 against it, 0 stays.
    maps : mapping
        Name of a map to one value per vertex in mm; NaN where there is none.
    shown : bool
        Whether it is shown at first.
    """

    name: str
    mesh: ScanMesh | Solid
    color: str = PART
    opens: int = 0
    maps: Mapping[str, NDArray[np.float64]] = field(default_factory=dict)
    shown: bool = True

    def __post_init__(self) -> None:
        mesh = self.mesh.mesh if isinstance(self.mesh, Solid) else self.mesh
        for name, values in self.maps.items():
            if len(values) != len(mesh.vertices):
                raise UsageError(
                    f"Map '{name}' has {len(values)} values for {len(mesh.vertices)} vertices.",
                    remedy=f"Give one value per vertex of '{self.name}'.",
                )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Scene:
    """What the reader of the page can turn, open and colour.

    Attributes
    ----------
    bodies : sequence of SceneBody
        Parts, halves, the scan.
    pull_direction : (3,) array or None
        Direction in which the mould opens.
    plane : Plane or None
        The mirror plane.
    up : (3,) tuple
        Direction that is up at first.
    front : (3,) tuple or None
        From the object to the eye at first; by default across the pull direction, looking a little into
        the half that stays behind.
    plane_shown : bool
        Whether the plane is shown at first.
    """

    bodies: Sequence[SceneBody]
    pull_direction: tuple[float, float, float] | None = None
    plane: Plane | None = None
    up: tuple[float, float, float] = (0.0, 0.0, 1.0)
    front: tuple[float, float, float] | None = None
    plane_shown: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PackedScene:
    """A scene ready for the page.

    Attributes
    ----------
    header : dict
        Plain data for JSON: names, sizes, colours, maps.
    data : str
        Base64 of the gzipped positions, indices and map values, in the order of the header.
    triangles, shown_triangles : int
        Of the original bodies and of the view.
    """

    header: dict[str, Any]
    data: str
    triangles: int
    shown_triangles: int


def pack_scene(scene: Scene, *, most: int = VIEW_TRIANGLES) -> PackedScene:
    """Return the scene decimated to at most `most` triangles and packed for the page.

    Positions become 16-bit steps of each body's box (250 mm: 4 µm), map values 254 steps of their range;
    everything is stored as differences, low and high bytes apart, and gzipped.
    """
    meshes = [body.mesh.mesh if isinstance(body.mesh, Solid) else body.mesh for body in scene.bodies]
    copies = view_copies(meshes, most=most)
    spans = _map_spans(scene)
    stream: list[bytes] = []
    bodies = []
    for body, copy in zip(scene.bodies, copies, strict=True):
        vertices, faces, kept = _in_order_of_use(copy.vertices, copy.faces, copy.kept)
        low, span = _box(vertices)
        steps = np.rint((vertices - low) / span * _STEPS).astype(np.uint16)
        stream += [_split_bytes(_differences(steps.T.ravel().astype(np.int64)) & 0xFFFF, 2)]
        stream += [_split_bytes(_zigzag(_differences(faces.ravel())), 4)]
        stream += [_map_bytes(np.asarray(body.maps[name])[kept], spans[name]) for name in body.maps]
        bodies.append(
            {
                "name": body.name,
                "color": body.color,
                "opens": body.opens,
                "shown": body.shown,
                "vertices": len(vertices),
                "triangles": len(faces),
                "low": low.tolist(),
                "span": span.tolist(),
                "maps": list(body.maps),
            }
        )
    packed = gzip.compress(b"".join(stream), compresslevel=9, mtime=0)
    return PackedScene(
        header={"bodies": bodies, "maps": _map_header(spans), **_frame(scene, meshes)},
        data=base64.b64encode(packed).decode("ascii"),
        triangles=sum(len(mesh.faces) for mesh in meshes),
        shown_triangles=sum(int(body["triangles"]) for body in bodies),
    )


def _in_order_of_use(
    vertices: FloatArray, faces: NDArray[np.int64], kept: NDArray[np.int64]
) -> tuple[FloatArray, NDArray[np.int64], NDArray[np.int64]]:
    """Return faces by place and vertices in the order of their first use, which packs better."""
    order = np.lexsort(faces.T[::-1])
    faces = faces[order]
    used, first = np.unique(faces.ravel(), return_index=True)
    sequence = used[np.argsort(first)]
    number = np.zeros(len(vertices), dtype=np.int64)
    number[sequence] = np.arange(len(sequence))
    return vertices[sequence], number[faces], kept[sequence]


def _box(vertices: FloatArray) -> tuple[FloatArray, FloatArray]:
    if len(vertices) == 0:
        return np.zeros(3), np.ones(3)
    low = vertices.min(axis=0)
    return low, np.maximum(np.ptp(vertices, axis=0), 1e-6)


def _differences(values: NDArray[np.int64]) -> NDArray[np.int64]:
    return np.diff(values, prepend=0)


def _zigzag(values: NDArray[np.int64]) -> NDArray[np.int64]:
    return np.where(values >= 0, 2 * values, -2 * values - 1)


def _split_bytes(values: NDArray[np.int64], width: int) -> bytes:
    """Return the lowest byte of all values, then the next, and so on."""
    return b"".join(((values >> (8 * place)) & 0xFF).astype(np.uint8).tobytes() for place in range(width))


def _map_spans(scene: Scene) -> dict[str, tuple[float, float]]:
    values: dict[str, list[FloatArray]] = {}
    for body in scene.bodies:
        for name, numbers in body.maps.items():
            values.setdefault(name, []).append(np.asarray(numbers, dtype=np.float64))
    spans = {}
    for name, parts in values.items():
        numbers = np.concatenate(parts)
        numbers = numbers[np.isfinite(numbers)]
        signed = bool((numbers < 0).any())
        reach = rounded_range(numbers, share=0.98 if signed else 1.0)
        spans[name] = (-reach if signed else 0.0, reach)
    return spans


def _map_bytes(values: FloatArray, span: tuple[float, float]) -> bytes:
    """Return 1 to 255 on the range, 0 where there is no value."""
    share = (values - span[0]) / (span[1] - span[0])
    steps = np.where(np.isfinite(values), 1 + np.rint(254 * np.clip(share, 0, 1)), 0)
    return np.nan_to_num(steps).astype(np.uint8).tobytes()


def _map_header(spans: Mapping[str, tuple[float, float]]) -> list[dict[str, Any]]:
    maps = []
    for name, (low, high) in spans.items():
        table = (SIGNED if low < 0 else DEPTH).table
        bytes_ = np.rint(table[np.linspace(0, 255, 255).astype(int)] * 255).astype(np.uint8)
        maps.append({"name": name, "unit": "mm", "low": low, "high": high, "table": bytes_.tobytes().hex()})
    return maps


def _frame(scene: Scene, meshes: Sequence[ScanMesh]) -> dict[str, Any]:
    from mirrorprep.handover.bodies import plane_rim

    points = np.concatenate([mesh.vertices for mesh in meshes])
    rim = None if scene.plane is None else plane_rim(scene.plane, points, up=scene.up)[:4].tolist()
    pull = None if scene.pull_direction is None else np.asarray(scene.pull_direction, dtype=np.float64)
    moving = [mesh.vertices for body, mesh in zip(scene.bodies, meshes, strict=True) if body.opens]
    reach = 0.0
    if pull is not None and moving:
        reach = _OPENING * float(np.ptp(np.concatenate(moving) @ (pull / np.linalg.norm(pull))))
    return {
        "plane": rim,
        "planeColor": PLANE,
        "pull": None if pull is None else (pull / np.linalg.norm(pull)).tolist(),
        "opening": reach,
        "up": list(scene.up),
        "front": _front(scene),
        "planeShown": scene.plane_shown,
    }


def _front(scene: Scene) -> list[float]:
    if scene.front is not None:
        return list(scene.front)
    up = np.asarray(scene.up, dtype=np.float64)
    pull = np.zeros(3) if scene.pull_direction is None else np.asarray(scene.pull_direction, dtype=np.float64)
    across = np.cross(pull, up)
    if np.linalg.norm(across) < 0.3:
        across, pull = frame_along(up)[:, 0], frame_along(up)[:, 1]
    toward = across / np.linalg.norm(across) + 0.55 * pull + 0.4 * up
    return [float(x) for x in toward]
