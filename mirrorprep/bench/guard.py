"""What stands between the bench and every other page, program and machine.

The bench listens on the loopback address alone, so that no other machine reaches it. Other pages in the same
browser can still send requests there, and a name of theirs can be made to point there; the guard lets a
request in only when it names this very server (Host), comes from its own page or from nowhere (Origin,
Sec-Fetch-Site) and knows the token in the address. Sources: WHATWG Fetch and HTML standards (Origin,
cross-origin policies), W3C Fetch Metadata, W3C Content Security Policy 3, RFC 9110 (Host, status codes).
"""

import hmac
from collections.abc import Awaitable, Callable, Mapping, MutableMapping
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any, Final

from mirrorprep.bench.plain import as_json
from mirrorprep.errors import MirrorPrepError

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
Application = Callable[[Scope, Receive, Send], Awaitable[None]]

MOST_JSON_BYTES: Final = 4 << 20
MOST_SCAN_BYTES: Final = 512 << 20
_READS: Final = frozenset({"GET", "HEAD"})
_OWN_SITE: Final = frozenset({"", "same-origin", "none"})

POLICY: Final = (
    "default-src 'self'; img-src 'self' data: blob:; frame-src 'self'; object-src 'none'; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'self'"
)
HEADERS: Final[Mapping[str, str]] = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cache-control": "no-store",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "x-frame-options": "SAMEORIGIN",
    "content-security-policy": POLICY,
}


class TooLargeError(MirrorPrepError):
    """A request body goes beyond its bound."""

    exit_code = 2

    @classmethod
    def beyond(cls, bound: int) -> "TooLargeError":
        """Return the error for a bound in bytes."""
        return cls(
            f"More than {bound / 2**20:.4g} MiB were sent.",
            remedy="Thin the scan first, or put it beside the job file and name it there.",
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounds:
    """How many bytes a request may hold: a scan, anything else."""

    scan: int = MOST_SCAN_BYTES
    other: int = MOST_JSON_BYTES


@dataclass(frozen=True, slots=True, kw_only=True)
class _Refusal:
    status: HTTPStatus
    message: str
    remedy: str


class Guard:
    """ASGI middleware that lets in what belongs to the bench's own page, and nothing else.

    Parameters
    ----------
    app : ASGI application
        Sees paths without the token.
    token : str
        First part of every path.
    hosts : tuple of str
        The names of this server, with their port.
    bounds : Bounds
        Largest request bodies.
    """

    def __init__(
        self,
        app: Application,
        *,
        token: str,
        hosts: tuple[str, ...],
        bounds: Bounds | None = None,
    ) -> None:
        self._app = app
        self._token = token.encode("ascii")
        self._hosts = hosts
        self._bounds = bounds or Bounds()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008})
            return
        if scope["type"] != "http":
            return
        refusal = self._refusal(scope)
        guarded = _WithHeaders(send)
        if refusal is not None:
            await _refuse(guarded, refusal)
        else:
            await self._app(self._inner(scope), _Bounded(receive, self._bound(scope)), guarded)

    def _refusal(self, scope: Scope) -> _Refusal | None:
        headers = scope["headers"]
        host = _values(headers, b"host")
        if len(host) != 1 or host[0] not in self._hosts:
            return _foreign("The request names another host.")
        if any(origin != f"http://{host[0]}" for origin in _values(headers, b"origin")):
            return _foreign("The request comes from another page.")
        if any(site not in _OWN_SITE for site in _values(headers, b"sec-fetch-site")):
            return _foreign("The request comes from another site.")
        first = scope["path"].lstrip("/").split("/", 1)[0]
        if not hmac.compare_digest(first.encode("utf-8"), self._token):
            return _Refusal(
                status=HTTPStatus.NOT_FOUND,
                message="There is no such page.",
                remedy="Open the address that 'mirrorprep bench' printed.",
            )
        return self._length(scope)

    def _length(self, scope: Scope) -> _Refusal | None:
        """Refuse a body that is announced as too long, before any of it is read."""
        for value in _values(scope["headers"], b"content-length"):
            if not value.isdecimal():
                return _Refusal(
                    status=HTTPStatus.BAD_REQUEST, message="The length is no number.", remedy="Send it again."
                )
            if int(value) > self._bound(scope):
                return _too_large(self._bound(scope))
        return None

    def _bound(self, scope: Scope) -> int:
        if scope["method"] in _READS:
            return 0
        path = scope["path"].split("/", 2)[-1]
        return self._bounds.scan if path.startswith("api/scan/") else self._bounds.other

    def _inner(self, scope: Scope) -> Scope:
        """Return the scope without the token, so that no part behind the guard can give it away."""
        path = "/" + scope["path"].lstrip("/").partition("/")[2]
        return {**scope, "path": path, "raw_path": path.encode("utf-8"), "root_path": ""}


class _Bounded:
    """Hands on a request body until it goes beyond its bound."""

    def __init__(self, receive: Receive, bound: int) -> None:
        self._receive = receive
        self._bound = self._left = bound

    async def __call__(self) -> Message:
        message = await self._receive()
        if message["type"] == "http.request":
            self._left -= len(message.get("body", b""))
            if self._left < 0:
                raise TooLargeError.beyond(self._bound)
        return message


class _WithHeaders:
    """Adds the guard's headers to every answer that does not set its own."""

    def __init__(self, send: Send) -> None:
        self._send = send

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            given = list(message.get("headers", []))
            names = {name.lower() for name, _ in given}
            more = [(n.encode(), v.encode()) for n, v in HEADERS.items() if n.encode() not in names]
            message = {**message, "headers": given + more}
        await self._send(message)


def _values(headers: list[tuple[bytes, bytes]], name: bytes) -> list[str]:
    return [value.decode("latin-1").strip().lower() for key, value in headers if key.lower() == name]


def _foreign(message: str) -> _Refusal:
    return _Refusal(
        status=HTTPStatus.FORBIDDEN,
        message=message,
        remedy="Open the address that 'mirrorprep bench' printed.",
    )


def _too_large(bound: int) -> _Refusal:
    error = TooLargeError.beyond(bound)
    return _Refusal(status=HTTPStatus.REQUEST_ENTITY_TOO_LARGE, message=error.message, remedy=error.remedy)


async def _refuse(send: Send, refusal: _Refusal) -> None:
    told = {"message": refusal.message, "remedy": refusal.remedy, "exit_code": 2}
    body = as_json({"error": told})
    headers = [(b"content-type", b"application/json"), (b"content-length", str(len(body)).encode())]
    headers.append((b"connection", b"close"))  # a body that nobody reads must not be taken for a request
    await send({"type": "http.response.start", "status": int(refusal.status), "headers": headers})
    await send({"type": "http.response.body", "body": body})
