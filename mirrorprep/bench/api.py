"""What the page asks of the bench: the addresses, and the answers to each."""

import asyncio
import json
import time
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any, Final

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import FileResponse, Response
from starlette.routing import Route

from mirrorprep.bench.desk import Desk, told
from mirrorprep.bench.display import Display
from mirrorprep.bench.folder import StaleRevisionError, UnreadableJobError
from mirrorprep.bench.guard import TooLargeError
from mirrorprep.bench.kinds import disposition, ending, media_type
from mirrorprep.bench.plain import as_json
from mirrorprep.bench.points import kind_named, text_of_picks
from mirrorprep.bench.runner import BusyError
from mirrorprep.bench.schema import bench_schema
from mirrorprep.errors import InputFileError, JobFileError, MirrorPrepError, UsageError
from mirrorprep.intake.registry import FORMATS

PAGE: Final = Path(__file__).parent / "page"
LONGEST_WAIT_S: Final = 25.0
_LOOK_AGAIN_S: Final = 0.05
_ROLES: Final = {"scan": "scan.file", "part": "part.file", "recipient": "seating.recipient"}
_OUT_POLICY: Final = (
    "sandbox allow-scripts; default-src 'none'; img-src data:; style-src 'unsafe-inline'; "
    "script-src 'unsafe-inline'; frame-ancestors 'self'"
)

Answer = Callable[[Request], Awaitable[Response]]


class NotThereError(UsageError):
    """What was asked for does not exist."""


class Api:
    """The answers, for one desk.

    Parameters
    ----------
    desk : Desk
        The job.
    page : Path
        Folder of the page's files.
    """

    def __init__(self, desk: Desk, *, page: Path = PAGE) -> None:
        self.desk = desk
        self.display = Display(desk.files.store)
        self._page = page

    def app(self) -> Starlette:
        """Return the application; it expects the guard before it."""
        routes = [
            Route("/", self.index),
            Route("/assets/{name:path}", self.asset),
            Route("/out/{name}", self.output),
            Route("/api/schema", self.schema),
            Route("/api/state", self.state),
            Route("/api/body/{step}/{name}", self.body),
            Route("/api/job", self.job, methods=["POST"]),
            Route("/api/run", self.run, methods=["POST"]),
            Route("/api/cancel", self.cancel, methods=["POST"]),
            Route("/api/demo", self.demo, methods=["POST"]),
            Route("/api/scan/{role}", self.scan, methods=["PUT"]),
            Route("/api/points/{kind}", self.points, methods=["PUT"]),
        ]
        handlers: dict[Any, Any] = {MirrorPrepError: _on_error, ClientDisconnect: _on_disconnect}
        return Starlette(routes=routes, exception_handlers=handlers)

    async def index(self, _: Request) -> Response:
        """Send the page."""
        return _file(self._page / "index.html")

    async def asset(self, request: Request) -> Response:
        """Send a file of the page."""
        root = self._page.resolve()
        place = (root / request.path_params["name"]).resolve()
        if not place.is_relative_to(root) or not place.is_file():
            raise NotThereError("The page has no such file.", remedy="Load the page again.")
        return _file(place)

    async def output(self, request: Request) -> Response:
        """Send a file that was handed over."""
        name = request.path_params["name"]
        standing = await run_in_threadpool(self.desk.standing)
        place = self.desk.output(name, standing)
        if place is None:
            raise NotThereError(f"There is no '{name[:80]}' to hand over.", remedy="Run the handover.")
        headers = {"content-disposition": disposition(name), "content-security-policy": _OUT_POLICY}
        return FileResponse(place, media_type=media_type(name), headers=headers)

    async def schema(self, _: Request) -> Response:
        """Send what the page must know of the job file."""
        return _json(bench_schema())

    async def state(self, request: Request) -> Response:
        """Send the state as soon as it is newer than the one the page has."""
        after = int(_number(request, "after", -1))
        until = time.monotonic() + min(_number(request, "wait", 0.0), LONGEST_WAIT_S)
        while self.desk.revision <= after and time.monotonic() < until:
            if await request.is_disconnected():
                break
            await asyncio.sleep(_LOOK_AGAIN_S)
        return await self._state()

    async def _state(self) -> Response:
        return _json(await run_in_threadpool(self.desk.state))

    async def body(self, request: Request) -> Response:
        """Send a display body."""
        step, name = request.path_params["step"], request.path_params["name"]

        def make() -> bytes:
            return self.display.packed(step, name, self.desk.standing())

        return _binary(await run_in_threadpool(make))

    async def job(self, request: Request) -> Response:
        """Change entries of the job."""
        data = await _data(request)
        base, changes = data.get("base"), data.get("changes")
        if not isinstance(base, int) or not isinstance(changes, dict):
            raise UsageError("The change names no revision or no entries.", remedy="Load the page again.")
        await run_in_threadpool(self.desk.files.change, changes, base=base)
        return await self._state()

    async def run(self, request: Request) -> Response:
        """Begin to run through a step."""
        step = (await _data(request)).get("through")
        try:
            await run_in_threadpool(self.desk.run, str(step))
        except JobFileError as error:
            return _error(error, 422)
        return await self._state()

    async def cancel(self, _: Request) -> Response:
        """End what is under way."""
        await run_in_threadpool(self.desk.runner.cancel)
        return await self._state()

    async def demo(self, request: Request) -> Response:
        """Begin to lay the demonstration."""
        data = await _data(request)
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
        self.desk.refuse_while_running()
        with self.desk.files.receive(f"{role}{suffix}", entry=_ROLES[role], also={}) as file:
            async for chunk in request.stream():
                await run_in_threadpool(file.write, chunk)
        self.desk.touch()
        return await self._state()

    async def points(self, request: Request) -> Response:
        """Take picked places in, in the form of their file."""
        name = request.path_params["kind"]
        kind = kind_named(name)
        text = text_of_picks(name, await _data(request))
        self.desk.refuse_while_running()
        await run_in_threadpool(self._keep_points, kind, text)
        self.desk.touch()
        return await self._state()

    def _keep_points(self, kind: Any, text: str) -> None:  # noqa: ANN401
        if text:
            with self.desk.files.receive(kind.file, entry=kind.entry, also=kind.also) as file:
                file.write(text.encode("utf-8"))
        else:
            self.desk.files.remove(Path(kind.file).stem, {kind.entry: "", **kind.without})


async def _data(request: Request) -> dict[str, Any]:
    """Return the JSON object of a request, empty when it has no body."""
    body = await request.body()
    if not body:
        return {}
    if request.headers.get("content-type", "").partition(";")[0].strip().lower() != "application/json":
        raise UsageError("The request is not JSON.", remedy="Load the page again.")
    try:
        data = json.loads(body, parse_constant=_refuse_constant)
    except (ValueError, RecursionError):
        raise UsageError("The request cannot be read.", remedy="Load the page again.") from None
    if not isinstance(data, dict):
        raise UsageError("The request is no object.", remedy="Load the page again.")
    return data


def _refuse_constant(name: str) -> None:
    raise ValueError(name)


def _number(request: Request, name: str, default: float) -> float:
    try:
        return float(request.query_params.get(name, default))
    except ValueError:
        raise UsageError(f"'{name}' is no number.", remedy="Load the page again.") from None


def _json(data: object, status: int = 200) -> Response:
    return Response(as_json(data), status_code=status, media_type="application/json")


def _binary(data: bytes) -> Response:
    return Response(data, media_type="application/octet-stream")


def _file(place: Path) -> Response:
    return FileResponse(place, media_type=media_type(place.name))


def _error(error: MirrorPrepError, status: int) -> Response:
    return _json({"error": told(error)}, status)


_STATUS: Final[tuple[tuple[type[MirrorPrepError], int], ...]] = (
    (TooLargeError, 413),
    (BusyError, 409),
    (StaleRevisionError, 409),
    (UnreadableJobError, 422),
    (NotThereError, 404),
)


async def _on_error(_: Request, error: MirrorPrepError) -> Response:
    """Answer with the sentence that the command line would show."""
    return _error(error, next((status for kind, status in _STATUS if isinstance(error, kind)), 400))


async def _on_disconnect(_: Request, __: ClientDisconnect) -> Response:
    """Answer nobody: the page went away while it was sending."""
    return Response(status_code=400)
