"""The addresses of the bench, and who answers at each."""

from typing import Any

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.routing import Route

from mirrorprep.bench.answers import on_bug, on_disconnect, on_error, on_http_error
from mirrorprep.bench.desk import Desk
from mirrorprep.bench.file_answers import FileAnswers
from mirrorprep.bench.job_answers import JobAnswers
from mirrorprep.bench.view_answers import ViewAnswers
from mirrorprep.errors import MirrorPrepError


def application(desk: Desk) -> Starlette:
    """Return the application of a desk; it expects the guard before it."""
    files, job, views = FileAnswers(desk), JobAnswers(desk), ViewAnswers(desk)
    routes = [
        Route("/", files.index),
        Route("/assets/{name:path}", files.asset),
        Route("/out/{name}", files.output),
        Route("/api/schema", job.schema),
        Route("/api/state", job.state),
        Route("/api/job", job.job, methods=["POST"]),
        Route("/api/run", job.run, methods=["POST"]),
        Route("/api/cancel", job.cancel, methods=["POST"]),
        Route("/api/demo", job.demo, methods=["POST"]),
        Route("/api/scan/{role}", job.scan, methods=["PUT"]),
        Route("/api/points/{kind}", job.points, methods=["PUT"]),
        Route("/api/body/{step}/{name}", views.body),
        Route("/api/undercut", views.undercut, methods=["POST"]),
        Route("/api/landscape", views.landscape),
        Route("/api/level", views.level),
    ]
    handlers: dict[Any, Any] = {
        MirrorPrepError: on_error,
        ClientDisconnect: on_disconnect,
        HTTPException: on_http_error,
        Exception: on_bug,
    }
    return Starlette(routes=routes, exception_handlers=handlers)
