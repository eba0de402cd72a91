"""A desk in a folder of its own, and a client that speaks to it as the page does."""

import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

pytest.importorskip("starlette")
pytest.importorskip("uvicorn")
pytest.importorskip("httpx2")

from mirrorprep.bench.desk import Desk
from mirrorprep.bench.server import Place, guarded
from mirrorprep.handover.files import write_stl
from mirrorprep.solid.primitives import sphere

PORT = 9753
TOKEN = "a-token-of-the-tests"  # noqa: S105 - no secret
_PEAR_JOB = {
    "job.code": "P-7",
    "job.purpose": "teaching",
    "job.human_data": False,
    "scan.units": "mm",
    "scan.accuracy_mm": 0.1,
    "mould.body": "block",
    "output.pictures": False,
}


@dataclass
class Page:
    """What a page does: requests under the token, errors and all."""

    client: Any
    desk: Desk
    token: str = TOKEN

    def ask(self, method: str, path: str, **options: Any) -> Any:
        return self.client.request(method, f"/{self.token}/{path}", **options)

    def get(self, path: str, **options: Any) -> Any:
        return self.ask("GET", path, **options)

    def post(self, path: str, data: object = None, **options: Any) -> Any:
        return self.ask("POST", path, json={} if data is None else data, **options)

    def put(self, path: str, **options: Any) -> Any:
        return self.ask("PUT", path, **options)

    def state(self) -> dict[str, Any]:
        return self.get("api/state").json()

    def change(self, changes: dict[str, object], base: int | None = None) -> Any:
        at = self.state()["job_revision"] if base is None else base
        return self.post("api/job", {"base": at, "changes": changes})

    def wait(self, seconds: float = 300.0) -> dict[str, Any]:
        """Wait until nothing runs any more, as a page does: by long polling."""
        until, state = time.monotonic() + seconds, self.state()
        while state["running"] and time.monotonic() < until:
            state = self.get(f"api/state?after={state['revision']}&wait=5").json()
        assert state["running"] is None
        return state

    def steps(self) -> dict[str, str]:
        return {step["name"]: step["state"] for step in self.state()["steps"]}


def page_of(folder: Path) -> Page:
    """Return a page on a desk in `folder`; the caller closes the desk."""
    from starlette.testclient import TestClient

    desk = Desk(folder)
    place = Place(port=PORT, token=TOKEN)
    client = TestClient(guarded(desk, place), base_url=f"http://127.0.0.1:{PORT}")
    return Page(client=client, desk=desk)


@pytest.fixture
def page(tmp_path):
    """A page on a fresh folder."""
    made = page_of(tmp_path / "bench_job")
    yield made
    made.desk.close()


@pytest.fixture(scope="session")
def open_page():
    """The function that opens a page on a folder, for fixtures of other scopes; close its desk."""
    return page_of


@pytest.fixture(scope="session")
def pear_job():
    """Entries of a job on the pear, beside its scan."""
    return dict(_PEAR_JOB)


@pytest.fixture(scope="session")
def pear_file(tmp_path_factory):
    """A lopsided pear as STL, a solid of some thousand triangles."""
    body = sphere(15.0, segments=40).transformed(np.diag([1.0, 0.8, 0.7, 1.0]))
    body += sphere(8.0, center_mm=[13, 0, 5], segments=40)
    return write_stl(body, tmp_path_factory.mktemp("pear") / "Jane Doe.stl")
