"""The bench as a program of its own: its socket, its lock, its end."""

import http.client
import ipaddress
import json
import signal
import socket
import subprocess
import sys
import time
from urllib.parse import urlsplit

import pytest

from mirrorprep.bench.server import LOOPBACK, Place, listen, require_uvicorn
from mirrorprep.errors import MissingExtraError, OutputError


class Bench:
    """A running ``mirrorprep bench`` and how to speak to it over a real socket."""

    def __init__(self, folder):
        self.folder = folder
        words = [sys.executable, "-m", "mirrorprep", "bench", str(folder), "--no-browser", "--json"]
        self.process = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        text = ""
        for line in self.process.stdout:
            text += line
            if line.startswith("}"):
                break
        self.address = urlsplit(json.loads(text)["address"])

    def ask(self, method, path, body=None, headers=None):
        line = http.client.HTTPConnection(self.address.hostname, self.address.port, timeout=60)
        line.request(method, f"{self.address.path}{path}", body=body, headers=headers or {})
        answer = line.getresponse()
        told = answer.status, dict(answer.getheaders()), answer.read()
        line.close()
        return told

    def raw(self, text: bytes) -> bytes:
        with socket.create_connection((self.address.hostname, self.address.port), timeout=60) as line:
            line.sendall(text)
            received = b""
            while chunk := line.recv(65536):
                received += chunk
        return received


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    made = Bench(tmp_path_factory.mktemp("real") / "job")
    yield made
    made.process.kill()
    made.process.communicate()


def test_the_page_answers_at_the_printed_address(bench):
    assert bench.address.hostname == LOOPBACK
    assert len(bench.address.path) >= 43  # 32 random bytes in base64
    status, headers, body = bench.ask("GET", "")
    assert (status, headers["content-type"]) == (200, "text/html; charset=utf-8")
    assert "server" not in {name.lower() for name in headers}
    assert b"<html" in body
    state = json.loads(bench.ask("GET", "api/state")[2])
    assert state["folder"] == "job"


def test_only_the_loopback_address_is_bound(bench):
    """The same port on the machine's other addresses answers nobody."""
    name = socket.gethostbyname_ex(socket.gethostname())[2]
    others = [address for address in name if not ipaddress.ip_address(address).is_loopback]
    for address in others:
        with pytest.raises(OSError, match=r"refused|timed out|unreachable"):
            socket.create_connection((address, bench.address.port), timeout=2)
    with listen(0) as server:
        assert server.getsockname()[0] == LOOPBACK


def test_attacks_over_the_wire(bench):
    host = f"{bench.address.hostname}:{bench.address.port}"
    path = bench.address.path
    assert bench.ask("GET", "api/state", headers={"Host": f"evil.example:{bench.address.port}"})[0] == 403
    assert bench.ask("GET", "api/state", headers={"Origin": "http://evil.example"})[0] == 403
    assert (
        b"404"
        in bench.raw(
            f"GET /{'x' * 43}/ HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n".encode()
        ).split(b"\r\n")[0]
    )
    huge = (
        f"PUT {path}api/scan/scan?name=a.stl HTTP/1.1\r\nHost: {host}\r\nContent-Length: 999999999999\r\n\r\n"
    )
    assert bench.raw(huge.encode()).startswith(b"HTTP/1.1 413")
    upgrade = (
        f"GET {path}api/state HTTP/1.1\r\nHost: {host}\r\nUpgrade: websocket\r\n"
        "Connection: Upgrade, close\r\n"
        "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\n\r\n"
    )
    assert b" 101 " not in bench.raw(upgrade.encode()).split(b"\r\n")[0]
    escape = f"GET {path}assets/../../job.toml HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n"
    assert bench.raw(escape.encode()).startswith(b"HTTP/1.1 404")


def test_chunks_without_a_length_are_bounded(bench):
    """4 MiB are the bound of everything but scans; chunked, nothing is announced."""
    chunks = (b" " * (1 << 20) for _ in range(6))
    try:
        status, _, body = bench.ask(
            "POST", "api/job", body=chunks, headers={"Content-Type": "application/json"}
        )
    except (BrokenPipeError, ConnectionResetError):
        return  # refused while it was still being sent
    assert status == 413
    assert b"MiB" in body


def test_a_second_process_on_the_same_folder_is_refused(bench):
    folder = bench.folder
    words = [sys.executable, "-m", "mirrorprep", "bench", str(folder), "--no-browser"]
    second = subprocess.run(words, capture_output=True, text=True, timeout=120, check=False)
    assert second.returncode == 7
    assert "is open on another bench" in second.stderr
    assert "Traceback" not in second.stderr


@pytest.mark.skipif(sys.platform == "win32", reason="needs signals")
def test_interrupting_it_is_its_usual_end(bench):
    waiting = socket.create_connection((bench.address.hostname, bench.address.port), timeout=60)
    revision = json.loads(bench.ask("GET", "api/state")[2])["revision"]
    host = f"{bench.address.hostname}:{bench.address.port}"
    path = f"{bench.address.path}api/state?after={revision}&wait=25"
    waiting.sendall(f"GET {path} HTTP/1.1\r\nHost: {host}\r\n\r\n".encode())
    bench.process.send_signal(signal.SIGINT)
    began = time.monotonic()
    _, errors = bench.process.communicate(timeout=60)
    waiting.close()
    assert bench.process.returncode == 0
    assert "Traceback" not in errors
    assert time.monotonic() - began < 20


def test_a_taken_port_is_told():
    with listen(0) as server:
        server.listen()
        with pytest.raises(OutputError, match="cannot be used"):
            listen(server.getsockname()[1])


def test_place():
    place = Place(port=5, token="t")  # noqa: S106 - no secret
    assert place.address == "http://127.0.0.1:5/t/"
    assert place.hosts == ("127.0.0.1:5", "localhost:5")


@pytest.mark.parametrize("package", ["uvicorn", "starlette"])
def test_without_the_extra_the_install_command_is_named(monkeypatch, package):
    monkeypatch.setitem(sys.modules, package, None)
    with pytest.raises(MissingExtraError, match="pip install 'mirrorprep\\[bench\\]'") as told:
        require_uvicorn()
    assert told.value.exit_code == 8
