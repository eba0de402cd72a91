"""The job as the page sees and changes it: its state, its entries, its files, and running it."""

import asyncio
import time
from pathlib import Path
from typing import Final

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from mirrorprep.bench.answers import NotThereError, data_of, error_answer, json_answer, number_of
from mirrorprep.bench.desk import Desk
from mirrorprep.bench.kinds import ending
from mirrorprep.bench.points import PickKind, kind_named, text_of_picks
from mirrorprep.bench.schema import bench_schema
from mirrorprep.errors import InputFileError, JobFileError, UsageError
from mirrorprep.intake.registry import FORMATS

LONGEST_WAIT_S: Final = 25.0
_LOOK_AGAIN_S: Final = 0.05
_ROLES: Final = {"scan": "scan.file", "part": "part.file", "recipient": "seating.recipient"}


class JobAnswers:
    """Answers about one job."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    async def schema(self, _: Request) -> Response:
        """Send what the page must know of the job file."""
        return json_answer(bench_schema())

    async def state(self, request: Request) -> Response:
        """Send the state as soon as it is newer than the one the page has."""
        after = int(number_of(request, "after", -1))
        until = time.monotonic() + min(number_of(request, "wait", 0.0), LONGEST_WAIT_S)
        while self.desk.revision <= after and time.monotonic() < until:
            if await request.is_disconnected():
                break
            await asyncio.sleep(_LOOK_AGAIN_S)
        return await self._state()

    async def _state(self) -> Response:
        return json_answer(await run_in_threadpool(self.desk.state))

    async def job(self, request: Request) -> Response:
        """Change entries of the job."""
        data = await data_of(request)
        base, changes = data.get("base"), data.get("changes")
        if not isinstance(base, int) or not isinstance(changes, dict):
            raise UsageError("The change names no revision or no entries.", remedy="Load the page again.")
        await run_in_threadpool(self.desk.files.change, changes, base=base)
        return await self._state()

    async def run(self, request: Request) -> Response:
        """Begin to run through a step."""
        step = (await data_of(request)).get("through")
        try:
            await run_in_threadpool(self.desk.run, str(step))
        except JobFileError as error:
            return error_answer(error, 422)
        return await self._state()

    async def cancel(self, _: Request) -> Response:
        """End what is under way."""
        await run_in_threadpool(self.desk.runner.cancel)
        return await self._state()

    async def demo(self, request: Request) -> Response:
        """Begin to lay the demonstration."""
        data = await data_of(request)
        detail, replace = str(data.get("detail", "full")), data.get("replace") is True
        await run_in_threadpool(lambda: self.desk.demo(detail=detail, replace=replace))
        return await self._state()

    async def scan(self, request: Request) -> Response:
        """Take a scan in, under a neutral name."""
        role = request.path_params["role"]
        if role not in _ROLES:
            raise NotThereError(f"'{role[:40]}' is no scan of a job.", remedy=f"Use {', '.join(_ROLES)}.")
        suffix = ending(request.query_params.get("name", ""))
        known = sorted(each for entry in FORMATS.values() for each in entry.suffixes)
        if suffix not in known:
            raise InputFileError(
                f"A file that ends in '{suffix[:12]}' is no scan that can be read.",
                remedy=f"Export the scan as one of {', '.join(known)}.",
            )
        self.desk.runner.refuse_while_running()
        with self.desk.files.receive(f"{role}{suffix}", entry=_ROLES[role], also={}) as file:
            async for chunk in request.stream():
                await run_in_threadpool(file.write, chunk)
        self.desk.touch()
        return await self._state()

    async def points(self, request: Request) -> Response:
        """Take picked places in, in the form of their file."""
        name = request.path_params["kind"]
        kind = kind_named(name)
        text = text_of_picks(name, await data_of(request))
        self.desk.runner.refuse_while_running()
        await run_in_threadpool(self._keep_points, kind, text)
        self.desk.touch()
        return await self._state()

    def _keep_points(self, kind: PickKind, text: str) -> None:
        if text:
            with self.desk.files.receive(kind.file, entry=kind.entry, also=kind.also) as file:
                file.write(text.encode("utf-8"))
        else:
            self.desk.files.remove(Path(kind.file).stem, {kind.entry: "", **kind.without})
