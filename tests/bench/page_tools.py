"""A bench and a browser for the tests of its page: Debian's Chromium, driven by Playwright."""

import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

_PYTHON = os.environ.get("MIRRORPREP_PYTHON", sys.executable)
"""The interpreter that runs the bench: another one, to test what was installed from the wheel."""

_ADDRESS = re.compile(r"http://127\.0\.0\.1:\d+/[\w-]+/")
_DRAWING = ("--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--no-sandbox")


@dataclass
class Watched:
    """A page with everything it said and asked for."""

    page: Any
    errors: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)

    def assert_quiet(self, allowed: str = "nothing is allowed") -> None:
        """No error on the console, and no request to any other place."""
        loud = [line for line in self.errors if not re.search(allowed, line)]
        assert loud == []
        here = ("http://127.0.0.1:", "blob:", "data:")
        strange = [url for url in self.requests if not url.startswith(here)]
        assert strange == []


@contextmanager
def bench_of(folder: Path) -> Iterator[str]:
    """Start a bench on a folder and give its address; it ends with the block."""
    command = [_PYTHON, "-P", "-m", "mirrorprep", "bench", str(folder), "--port", "0", "--no-browser"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    try:
        assert process.stdout is not None
        lines = []
        for line in process.stdout:
            lines.append(line)
            found = _ADDRESS.search(line)
            if found:
                yield found.group()
                return
        pytest.fail(f"The bench gave no address: {''.join(lines)}")
    finally:
        process.terminate()
        process.communicate(timeout=20)


@contextmanager
def chromium() -> Iterator[Any]:
    """Start the system's Chromium, or skip."""
    sync_api = pytest.importorskip("playwright.sync_api")
    program = shutil.which("chromium")
    if program is None:
        pytest.skip("There is no chromium on this machine.")
    with sync_api.sync_playwright() as player:
        browser = player.chromium.launch(executable_path=program, args=list(_DRAWING))
        try:
            yield browser
        finally:
            browser.close()


@contextmanager
def watched(browser: Any, address: str, *, script: str = "") -> Iterator[Watched]:
    """Open a page of its own, 1280 × 800, and note what it says and asks for; `script` runs first."""
    context = browser.new_context(viewport={"width": 1280, "height": 800}, accept_downloads=True)
    page = context.new_page()
    if script:
        page.add_init_script(script)
    page.set_default_timeout(20_000)
    seen = Watched(page=page)
    page.on("console", lambda said: seen.errors.append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda error: seen.errors.append(str(error)))
    page.on("request", lambda asked: seen.requests.append(asked.url))
    page.goto(address)
    page.wait_for_selector("#path li.here")
    try:
        yield seen
    finally:
        context.close()


def until(page: Any, condition: str, seconds: float = 90.0) -> None:
    """Wait until a condition of the page holds; the page's policy forbids evaluating it inside."""
    end = time.monotonic() + seconds
    while not page.evaluate(condition):
        if time.monotonic() > end:
            told = page.evaluate("[bench.store.state.failed, bench.store.state.steps.map((s) => s.state)]")
            pytest.fail(f"Not within {seconds} s: {condition}; {told}")
        page.wait_for_timeout(50)


def settled(page: Any) -> None:
    """Wait until the bodies of the step are in the view."""
    until(page, "document.querySelector('#view-note').hidden && bench.stage.shown.size > 0")
    page.wait_for_timeout(100)
