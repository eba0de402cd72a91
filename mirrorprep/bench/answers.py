"""How the bench answers: JSON, files, and errors as the sentences of the command line."""

import json
import math
from pathlib import Path
from typing import Any, Final

from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import FileResponse, Response

from mirrorprep.bench.desk import told
from mirrorprep.bench.folder import StaleRevisionError, UnreadableJobError
from mirrorprep.bench.guard import TooLargeError
from mirrorprep.bench.kinds import media_type
from mirrorprep.bench.plain import as_json
from mirrorprep.bench.runner import BusyError
from mirrorprep.errors import MirrorPrepError, UsageError


class NotThereError(UsageError):
    """What was asked for does not exist."""


async def data_of(request: Request) -> dict[str, Any]:
    """Return the JSON object of a request, empty when it has no body."""
    body = await request.body()
    if not body:
        return {}
    if request.headers.get("content-type", "").partition(";")[0].strip().lower() != "application/json":
        raise UsageError("The request is not JSON.", remedy="Load the page again.")
    try:
        data = json.loads(body, parse_constant=_refuse_constant, parse_float=_finite)
    except (ValueError, RecursionError):
        raise UsageError("The request cannot be read.", remedy="Load the page again.") from None
    if not isinstance(data, dict):
        raise UsageError("The request is no object.", remedy="Load the page again.")
    return data


def _refuse_constant(name: str) -> None:
    raise ValueError(name)


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(text)
    return value


def number_of(request: Request, name: str, default: float) -> float:
    """Return a number of the query."""
    try:
        value = float(request.query_params.get(name, default))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise UsageError(f"'{name}' is no number.", remedy="Load the page again.")
    return value


def json_answer(data: object, status: int = 200) -> Response:
    """Answer with JSON."""
    return Response(as_json(data), status_code=status, media_type="application/json")


def binary_answer(data: bytes) -> Response:
    """Answer with bytes."""
    return Response(data, media_type="application/octet-stream")


def file_answer(place: Path) -> Response:
    """Answer with a file of the page."""
    return FileResponse(place, media_type=media_type(place.name))


def error_answer(error: MirrorPrepError, status: int) -> Response:
    """Answer with an error: its sentence, its remedy, its exit code."""
    return json_answer({"error": told(error)}, status)


_STATUS: Final[tuple[tuple[type[MirrorPrepError], int], ...]] = (
    (TooLargeError, 413),
    (BusyError, 409),
    (StaleRevisionError, 409),
    (UnreadableJobError, 422),
    (NotThereError, 404),
)


async def on_error(_: Request, error: MirrorPrepError) -> Response:
    """Answer with the sentence that the command line would show."""
    return error_answer(error, next((status for kind, status in _STATUS if isinstance(error, kind)), 400))


async def on_http_error(_: Request, error: HTTPException) -> Response:
    """Answer to an address or method that does not exist."""
    lost = NotThereError("The bench has no such address.", remedy="Load the page again.")
    return error_answer(lost, error.status_code)


async def on_bug(_: Request, error: Exception) -> Response:
    """Answer to a bug, as the command line does."""
    return error_answer(
        _BugError(
            f"This is a bug ({type(error).__name__}).", remedy="Report it without any scan of a person."
        ),
        500,
    )


class _BugError(MirrorPrepError):
    """Stands for an error that should not have happened."""


async def on_disconnect(_: Request, __: ClientDisconnect) -> Response:
    """Answer nobody: the page went away while it was sending."""
    return Response(status_code=400)
