"""Display bodies: light copies of what the stages handed on, packed for the page."""

import hashlib
import json
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from mirrorprep.bench.plain import plain
from mirrorprep.bench.sources import Source, source_of
from mirrorprep.bench.steps import Standing, step_named
from mirrorprep.errors import UsageError
from mirrorprep.geometry.reflection import reflect
from mirrorprep.handover.decimation import ViewCopy, decimated
from mirrorprep.handover.palette import DEPTH, SIGNED, rounded_range
from mirrorprep.handover.standing import standing_view
from mirrorprep.job.records import kept_maps, kept_shape
from mirrorprep.solid.mesh import ScanMesh
from mirrorprep.solid.plane import Plane

FloatArray = NDArray[np.float64]

Found = TypeVar("Found")

MOST_TRIANGLES: Final = 150_000
_MOST_HELD: Final = 40
_LABELS: Final = {
    "asymmetry_mm": ("left-right difference", "mm"),
    "moved_mm": ("moved by mending", "mm"),
    "healthy_mm": ("healthy skin against its mirror image", "mm"),
    "back_mm": ("back against the skin", "mm"),
    "undercut_mm": ("undercut", "mm"),
    "wall_mm": ("wall thickness", "mm"),
}
_SIGNED: Final = frozenset({"asymmetry_mm", "healthy_mm", "back_mm"})


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Body:
    """A light copy of a shape.

    Attributes
    ----------
    vertices, faces : arrays
        The copy, mm of the scan.
    full_triangles : int
        Triangles of the shape itself.
    maps : dict of str to (n,) array
        One value for each vertex of the copy.
    """

    vertices: FloatArray
    faces: NDArray[np.int64]
    full_triangles: int
    maps: dict[str, FloatArray]


class Display:
    """Makes display bodies from the store, and keeps the latest; the store itself is only read.

    Parameters
    ----------
    store : Path
        Folder of the records.
    """

    def __init__(self, store: Path) -> None:
        self._store = store
        self._held: dict[tuple[str, ...], Any] = {}
        self._making = threading.RLock()

    def packed(self, step: str, name: str, standing: Standing) -> bytes:
        """Return a body as the page reads it.

        Raises
        ------
        UsageError
            If there is no such body.
        """
        source = source_of(step, name, standing)
        if source is None:
            raise UsageError(f"There is no body '{step}/{name}' yet.", remedy="Run that step first.")
        key = ("packed", step, name, *_keys(source, standing))

        def make() -> bytes:
            entry = step_named(step)
            label = entry.bodies[name][0] if entry is not None and name in entry.bodies else name
            body = self.body(source, standing)
            told = {**self._standing(standing), "figures": _figures(source, standing)}
            return pack(body, name=name, label=label, told=told)

        return self.held(key, make)

    def body(self, source: Source, standing: Standing) -> Body:
        """Return the light copy of a source."""
        key = ("body", *_keys(source, standing))
        return self.held(key, lambda: self._made(source, standing))

    def held(self, key: tuple[str, ...], make: Callable[[], Found]) -> Found:
        """Return what is held under a key, made when it is not.

        One thing is made at a time; when there are many, the oldest is let go.
        """
        found: Found | None = self._held.get(key)
        if found is None:
            with self._making:
                found = self._held.get(key)
                if found is None:
                    found = make()
                    self._held[key] = found
                    while len(self._held) > _MOST_HELD:
                        del self._held[next(iter(self._held))]
        return found

    def _made(self, source: Source, standing: Standing) -> Body:
        mesh = self.mesh(source, standing)
        copy = self.held(("copy", _content(mesh)), lambda: decimated(mesh, most=MOST_TRIANGLES))
        maps = self._maps(source, standing, mesh, copy)
        vertices, faces = copy.vertices, copy.faces
        if source.reflected:
            plane = plane_of(standing)
            vertices, faces = reflect(vertices, plane.normal, plane.offset_mm), faces[:, ::-1]
        return Body(vertices=vertices, faces=faces, full_triangles=len(mesh.faces), maps=maps)

    def mesh(self, source: Source, standing: Standing) -> ScanMesh:
        """Return a shape as the store holds it.

        Raises
        ------
        UsageError
            If the store has changed since.
        """
        found = kept_shape(self._file(source.stage), standing.kept[source.stage].key, source.shape)
        return _still_there(found, source.stage)

    def _file(self, stage: str) -> Path:
        return self._store / f"{stage}.npz"

    def _maps(
        self, source: Source, standing: Standing, mesh: ScanMesh, copy: ViewCopy
    ) -> dict[str, FloatArray]:
        if source.maps == ("moved_mm",):
            return {"moved_mm": self._moved(standing, copy.vertices)}
        if source.maps == ("wall_mm",):
            return {"wall_mm": _walls(mesh, copy.vertices)}
        if not source.maps:
            return {}
        kept = kept_maps(self._file(source.maps_of), standing.kept[source.maps_of].key)
        arrays = _still_there(kept, source.maps_of)
        found = {}
        for name in source.maps:
            values = arrays.get(name)
            if values is not None and len(values) == len(mesh.faces):
                values = _per_vertex(values, mesh)
            if values is not None and len(values) == len(mesh.vertices):
                found[name] = np.asarray(values[copy.kept])
        return found

    def _moved(self, standing: Standing, points: FloatArray) -> FloatArray:
        from mirrorprep.geometry.surface_index import SurfaceIndex

        before = source_of("condition", "before", standing)
        if before is None:
            return np.full(len(points), np.nan)
        mesh = self.mesh(before, standing)
        return np.asarray(SurfaceIndex(mesh.vertices, mesh.faces).closest(points).distance_mm)

    def _standing(self, standing: Standing) -> dict[str, object]:
        """Return which way the scan stands, for the first view."""
        source = source_of("scan", "scan", standing)
        if source is None:
            return {}
        plane = plane_of(standing) if standing.done("symmetry") else None
        key = ("standing", standing.kept["intake"].key, standing.keys["symmetry"] if plane else "")

        def make() -> dict[str, object]:
            view = standing_view(self.mesh(source, standing), plane)
            return {"up": list(view.up), "toward": list(view.toward)}

        return dict(self.held(key, make))


def plane_of(standing: Standing) -> Plane:
    """Return the mirror plane that the store holds."""
    figures = standing.kept["symmetry"].record.figures
    return Plane(normal=np.array(figures["normal"]), offset_mm=figures["offset_mm"])


def _content(mesh: ScanMesh) -> str:
    """Return a digest of a mesh, the same for the same shape in whatever record."""
    state = hashlib.sha256(mesh.vertices.tobytes())
    state.update(mesh.faces.tobytes())
    return state.hexdigest()


def _keys(source: Source, standing: Standing) -> tuple[str, ...]:
    stages = {source.stage, source.maps_of} - {""}
    stages |= {"symmetry"} if source.reflected else set()
    stages |= {"intake"} if "moved_mm" in source.maps else set()
    return (repr(source), *(standing.kept[stage].key for stage in sorted(stages)))


def _still_there(found: Found | None, stage: str) -> Found:
    if found is None:
        raise UsageError(f"The record of '{stage}' has just changed.", remedy="Look again.")
    return found


def _figures(source: Source, standing: Standing) -> dict[str, object]:
    told = standing.kept[source.stage].record.figures
    names = ("pull_direction", "pour_up", "parting") if source.stage == "mould" else ()
    return {name: told[name] for name in names if name in told}


def _per_vertex(values: FloatArray, mesh: ScanMesh) -> FloatArray:
    """Return the greatest value of the faces around each vertex."""
    found = np.full(len(mesh.vertices), -np.inf)
    np.maximum.at(found, mesh.faces.ravel(), np.repeat(values, 3))
    return np.where(np.isfinite(found), found, np.nan)


def _walls(mesh: ScanMesh, points: FloatArray) -> FloatArray:
    """Return the wall thickness measured nearest to each point."""
    from scipy.spatial import cKDTree

    from mirrorprep.measurement.wall_thickness import wall_thickness
    from mirrorprep.solid.certify import certify

    walls = wall_thickness(certify(mesh))
    nearest = cKDTree(walls.points_mm).query(points, workers=1)[1]
    return np.asarray(walls.thickness_mm[nearest])


def map_entry(name: str, values: FloatArray) -> dict[str, object]:
    """Return what the page needs to know of a map: words, range and colours."""
    label, unit = _LABELS.get(name, (name, ""))
    signed = name in _SIGNED
    reach = rounded_range(values)
    colors = SIGNED if signed else DEPTH
    return {
        "name": name,
        "label": label,
        "unit": unit,
        "low": -reach if signed else 0.0,
        "high": reach,
        "diverging": signed,
        "table": np.round(colors.table, 4).tolist(),
    }


def pack(body: Body, *, name: str, label: str, told: dict[str, object]) -> bytes:
    """Return a body as bytes: length of the header, header, positions, indices, maps (little endian)."""
    center = body.vertices.mean(axis=0) if len(body.vertices) else np.zeros(3)
    header = {
        "name": name,
        "label": label,
        "vertices": len(body.vertices),
        "triangles": len(body.faces),
        "full_triangles": body.full_triangles,
        "center_mm": center.tolist(),
        "maps": [map_entry(each, values) for each, values in body.maps.items()],
        **told,
    }
    return frame(
        header,
        (body.vertices - center).astype("<f4"),
        body.faces.astype("<u4"),
        *(values.astype("<f4") for values in body.maps.values()),
    )


def frame(header: dict[str, object], *arrays: NDArray[Any]) -> bytes:
    """Return a header and arrays of four-byte numbers as one message."""
    text = json.dumps(plain(header), allow_nan=False, separators=(",", ":")).encode("utf-8")
    text += b" " * (-len(text) % 4)
    return b"".join(
        [len(text).to_bytes(4, "little"), text, *(np.ascontiguousarray(array).tobytes() for array in arrays)]
    )
