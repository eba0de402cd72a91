"""What the page draws: bodies, the undercut of a direction, the landscape, the rising level."""

from collections.abc import Callable

import numpy as np
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from mirrorprep.bench.answers import binary_answer, data_of, json_answer
from mirrorprep.bench.desk import Desk
from mirrorprep.bench.display import Body, Display, frame, map_entry
from mirrorprep.bench.sources import Source, part_source
from mirrorprep.bench.steps import Standing
from mirrorprep.bench.undercut import UndercutFollower
from mirrorprep.errors import UsageError
from mirrorprep.handover.palette import rounded_range
from mirrorprep.solid.mesh import ScanMesh

_DEPTH_SHARE = 0.08  # of the part's longest side; one scale for all directions, so that colours compare


class ViewAnswers:
    """Answers about shapes, none of which changes what the store holds."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.display = Display(desk.files.store)

    async def body(self, request: Request) -> Response:
        """Send a display body."""
        step, name = request.path_params["step"], request.path_params["name"]

        def make() -> bytes:
            return self.display.packed(step, name, self.desk.standing())

        return binary_answer(await run_in_threadpool(make))

    async def undercut(self, request: Request) -> Response:
        """Send what the part traps along a direction: figures, and the depth at each vertex."""
        direction = (await data_of(request)).get("direction")
        if not isinstance(direction, list):
            raise UsageError("No direction was given.", remedy="Give three numbers.")
        try:
            wanted = np.array(direction, dtype=np.float64)
        except (TypeError, ValueError):
            raise UsageError("The direction is not three numbers.", remedy="Give three numbers.") from None
        return binary_answer(await run_in_threadpool(lambda: self._undercut(wanted)))

    def _undercut(self, direction: np.ndarray) -> bytes:
        standing = self.desk.standing()
        source = _part(standing)
        key = standing.kept[source.stage].key
        follower = self.display.held(("follower", key), lambda: self._follower(source, standing))
        plane = standing.job is not None and standing.job.mould.parting == "plane"
        found = follower.along(direction, plane=plane)
        entry = map_entry("undercut_mm", found.depth_mm)
        entry["high"] = rounded_range([_DEPTH_SHARE * follower.size_mm])
        header = {
            "name": "undercut",
            "label": "undercut",
            "vertices": len(found.depth_mm),
            "triangles": 0,
            "maps": [entry],
            "figures": found.as_dict(plane=plane),
        }
        return frame(header, found.depth_mm.astype("<f4"))

    def _follower(self, source: Source, standing: Standing) -> UndercutFollower:
        shown: Body = self.display.body(source, standing)
        mesh = self.display.mesh(source, standing)
        return UndercutFollower(mesh.vertices, mesh.faces, at=shown.vertices)

    async def landscape(self, _: Request) -> Response:
        """Send what each pull direction traps."""
        from mirrorprep.bench.landscape import landscape_data

        def make() -> dict[str, object]:
            standing = self.desk.standing()
            return self._of_part(standing, "landscape", landscape_data)

        return json_answer(await run_in_threadpool(make))

    def _of_part(
        self, standing: Standing, what: str, make: Callable[[ScanMesh], dict[str, object]]
    ) -> dict[str, object]:
        source = _part(standing)
        key = (what, standing.kept[source.stage].key)
        return self.display.held(key, lambda: make(self.display.mesh(source, standing)))

    async def level(self, _: Request) -> Response:
        """Send how the level rises in the mould."""
        from mirrorprep.bench.level import level_data

        def make() -> dict[str, object]:
            standing = self.desk.standing()
            if "mould" not in standing.kept:
                raise UsageError("There is no mould yet.", remedy="Run the mould first.")
            kept = standing.kept["mould"]
            casting = Source(stage="mould", shape="casting")
            return self.display.held(
                ("level", kept.key),
                lambda: level_data(self.display.mesh(casting, standing), kept.record.figures),
            )

        return json_answer(await run_in_threadpool(make))


def _part(standing: Standing) -> Source:
    source = part_source(standing)
    if source is None:
        raise UsageError("There is no part to part yet.", remedy="Run the steps up to measuring first.")
    return source
