"""Serving the bench: a socket on the loopback address, a token, and the library that speaks HTTP."""

import secrets
import socket
import sys
import threading
import webbrowser
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from mirrorprep.errors import MissingExtraError, OutputError

LOOPBACK: Final = "127.0.0.1"
_TOKEN_BYTES: Final = 32


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a bench is served: its port and its token."""

    port: int
    token: str

    @property
    def address(self) -> str:
        """The address of the page."""
        return f"http://{LOOPBACK}:{self.port}/{self.token}/"

    @property
    def hosts(self) -> tuple[str, ...]:
        """What a request may call this server."""
        return f"{LOOPBACK}:{self.port}", f"localhost:{self.port}"


def listen(port: int) -> socket.socket:
    """Return a socket that listens on the loopback address.

    Raises
    ------
    OutputError
        If the port is taken.
    """
    server = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if sys.platform != "win32":  # there it would let two servers share the port
        server.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        server.bind((LOOPBACK, port))
    except (OSError, OverflowError) as error:
        server.close()
        raise OutputError(
            f"Port {port} of {LOOPBACK} cannot be used: {error}.", remedy="Leave --port out, or give another."
        ) from error
    return server


def guarded(desk: Any, place: Place) -> Any:  # noqa: ANN401 - a Desk; an ASGI application
    """Return the application of a desk behind its guard."""
    from mirrorprep.bench.api import application
    from mirrorprep.bench.guard import Guard

    return Guard(application(desk), token=place.token, hosts=place.hosts)


def serve(
    folder: Path, *, port: int = 0, browser: bool = True, told: Callable[[Place], None] = lambda _: None
) -> None:
    """Serve the bench for one job folder until it is interrupted.

    Parameters
    ----------
    folder : Path
        The job's folder, made when absent.
    port : int
        Port to listen on; 0 takes a free one.
    browser : bool
        Open the page in the browser.
    told : callable
        Told the place once requests will be answered.

    Raises
    ------
    MissingExtraError
        If the web libraries are not installed.
    OutputError
        If the folder or the port cannot be used.
    """
    uvicorn = require_uvicorn()
    from mirrorprep.bench.desk import Desk

    desk = Desk(folder)
    try:
        with listen(port) as server:
            server.listen()
            place = Place(port=server.getsockname()[1], token=secrets.token_urlsafe(_TOKEN_BYTES))
            config = uvicorn.Config(
                guarded(desk, place), log_level="critical", access_log=False, lifespan="off", ws="none",
                http="h11", loop="asyncio", server_header=False, timeout_graceful_shutdown=1,
                proxy_headers=False,
            )  # fmt: skip
            told(place)
            threading.Thread(target=desk.runner.warm, daemon=True).start()
            if browser:
                threading.Thread(target=webbrowser.open, args=(place.address,), daemon=True).start()
            uvicorn.Server(config).run(sockets=[server])
    except KeyboardInterrupt:
        pass  # the usual way to close a bench
    finally:
        desk.close()


def require_uvicorn() -> Any:  # noqa: ANN401 - the library
    """Return the library that serves.

    Raises
    ------
    MissingExtraError
        If it, or the one that routes, is not installed.
    """
    try:
        import starlette  # noqa: F401
        import uvicorn
    except ImportError as error:
        raise MissingExtraError(
            f"The bench needs the package '{error.name}', which is not installed.",
            remedy="Install it with: pip install 'mirrorprep[bench]'",
        ) from error
    return uvicorn
