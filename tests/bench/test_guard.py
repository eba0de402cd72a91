"""The guard: every request that is not the page's own is turned away, and no answer lacks its headers."""

import pytest
from starlette.testclient import TestClient

from mirrorprep.bench.guard import HEADERS, Bounds, Guard

PORT, TOKEN = 9753, "another-token"
OWN = f"127.0.0.1:{PORT}"


async def echo(scope, receive, send):
    """Answer with the path behind the token and the length of the body."""
    length, more = 0, True
    while more:
        message = await receive()
        length += len(message.get("body", b""))
        more = message.get("more_body", False)
    body = f"{scope['path']} {length}".encode()
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": body})


def client(bounds=None):
    app = Guard(echo, token=TOKEN, hosts=(OWN, f"localhost:{PORT}"), bounds=bounds)
    return TestClient(app, base_url=f"http://{OWN}")


@pytest.mark.parametrize("headers", [
    {},
    {"host": f"localhost:{PORT}"},
    {"origin": f"http://{OWN}"},
    {"sec-fetch-site": "same-origin"},
    {"sec-fetch-site": "none"},
])  # fmt: skip
def test_the_own_page_is_let_in(headers):
    answer = client().get(f"/{TOKEN}/api/state", headers=headers)
    assert (answer.status_code, answer.text) == (200, "/api/state 0")


@pytest.mark.parametrize("headers", [
    {"host": "127.0.0.1"},
    {"host": f"127.0.0.1:{PORT + 1}"},
    {"host": f"evil.example:{PORT}"},
    {"host": f"127.0.0.1.evil.example:{PORT}"},
    {"host": f"{OWN}@evil.example"},
    {"host": ""},
    {"origin": "http://evil.example"},
    {"origin": f"https://{OWN}"},
    {"origin": f"http://localhost:{PORT}"},
    {"origin": f"http://127.0.0.1:{PORT + 1}"},
    {"origin": "null"},
    {"origin": ""},
    {"sec-fetch-site": "cross-site"},
    {"sec-fetch-site": "same-site"},
])  # fmt: skip
@pytest.mark.parametrize("method", ["GET", "POST", "PUT", "HEAD", "OPTIONS"])
def test_other_pages_are_turned_away(headers, method):
    """Rebound names (Host), other pages (Origin), other sites (Sec-Fetch-Site), whatever the method."""
    answer = client().request(method, f"/{TOKEN}/api/state", headers=headers)
    assert answer.status_code == 403


def test_two_hosts_are_turned_away():
    answer = client().get(f"/{TOKEN}/", headers=[("host", OWN), ("host", "evil.example")])
    assert answer.status_code == 403


@pytest.mark.parametrize(
    "path", ["/", "", "/wrong/", f"/{TOKEN[:-1]}/", f"/{TOKEN}x/", f"/x/{TOKEN}/", "/ä/"]
)
def test_a_wrong_token_finds_nothing(path):
    answer = client().get(path)
    assert answer.status_code == 404
    assert TOKEN not in answer.text


def test_no_web_socket_is_opened():
    from starlette.websockets import WebSocketDisconnect

    with pytest.raises(WebSocketDisconnect), client().websocket_connect(f"/{TOKEN}/api/state"):
        pass


@pytest.mark.parametrize("path", [f"/{TOKEN}/", "/wrong/"])
def test_every_answer_carries_the_headers(path):
    answer = client().get(path)
    assert {name: answer.headers[name] for name in HEADERS} == dict(HEADERS)
    assert "unsafe" not in HEADERS["content-security-policy"]
    assert "access-control-allow-origin" not in answer.headers


BOUNDS = Bounds(scan=1000, other=100)


@pytest.mark.parametrize(
    ("method", "path", "length", "status"),
    [
        ("POST", "api/job", 100, 200),
        ("POST", "api/job", 101, 413),
        ("PUT", "api/scan/scan", 1000, 200),
        ("PUT", "api/scan/scan", 1001, 413),
        ("PUT", "api/scandal", 101, 413),
        ("GET", "api/scan/scan", 1, 413),
    ],
)
def test_announced_bodies_are_bounded(method, path, length, status):
    answer = client(BOUNDS).request(method, f"/{TOKEN}/{path}", content=b"x" * length)
    assert answer.status_code == status
    if status == 413:
        assert "MiB" in answer.json()["error"]["message"]


@pytest.mark.parametrize("value", ["-1", "1e3", "two"])
def test_a_length_that_is_no_number_is_refused(value):
    answer = client().request("POST", f"/{TOKEN}/api/job", content=b"x", headers={"content-length": value})
    assert answer.status_code == 400


def test_bodies_without_a_length_are_bounded_while_they_come(page, monkeypatch):
    """Chunks that add up beyond the bound end in 413, whatever was announced; nothing is kept."""
    monkeypatch.setattr(page.client.app, "_bounds", BOUNDS)
    chunks = (b"x" * 400 for _ in range(4))
    answer = page.put("api/scan/scan?name=a.stl", content=chunks)
    assert answer.status_code == 413
    assert "MiB" in answer.json()["error"]["message"]
    assert [path.name for path in page.desk.files.folder.glob("*") if path.is_file()] != []
    names = {path.name for path in page.desk.files.folder.iterdir()}
    assert names == {"job.toml", ".work", ".bench.lock"}
    chunks = (b"x" * 400 for _ in range(2))
    assert page.put("api/scan/scan?name=a.stl", content=chunks).status_code == 200
