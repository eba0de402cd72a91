"""A headless Chromium, driven over its debugging pipe with nothing but the standard library."""

import base64
import contextlib
import fcntl
import json
import os
import select
import shutil
import subprocess
import time

import pytest

_FLAGS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-dev-shm-usage",
    "--no-first-run",
    "--no-default-browser-check",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--mute-audio",
    "--hide-scrollbars",
    "--remote-debugging-pipe",
)
WEBGL = ("--use-angle=swiftshader", "--enable-unsafe-swiftshader")
NO_WEBGL = ("--disable-gpu", "--disable-3d-apis")
_PATIENCE_S = 60


class Browser:
    """One page: open a file, ask it things, move its controls, take its picture."""

    def __init__(self, profile, flags):
        program = (
            shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
        )
        if program is None:
            pytest.skip("no Chromium on this machine")
        to_read, self._to = os.pipe()
        self._from, from_write = os.pipe()

        def hand_over():  # the browser reads commands on 3 and answers on 4
            high = [fcntl.fcntl(handle, fcntl.F_DUPFD, 10) for handle in (to_read, from_write)]
            for wanted, handle in zip((3, 4), high, strict=True):
                os.dup2(handle, wanted)

        self._process = subprocess.Popen(
            [program, *_FLAGS, *flags, f"--user-data-dir={profile}", "about:blank"],
            preexec_fn=hand_over,  # noqa: PLW1509 - no threads here yet
            close_fds=False,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(to_read)
        os.close(from_write)
        self._buffer, self._count, self._session = b"", 0, None
        self.events = []
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        self._session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.call(f"{domain}.enable")

    def call(self, method, **parameters):
        self._count += 1
        message = {"id": self._count, "method": method, "params": parameters}
        if self._session:
            message["sessionId"] = self._session
        os.write(self._to, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._next()
            if answer.get("id") == self._count:
                assert "error" not in answer, answer
                return answer["result"]
            self.events.append(answer)

    def _next(self):
        end = time.monotonic() + _PATIENCE_S
        while b"\0" not in self._buffer:
            if not select.select([self._from], [], [], max(0, end - time.monotonic()))[0]:
                raise TimeoutError("the browser does not answer")
            piece = os.read(self._from, 1 << 20)
            if not piece:
                raise EOFError("the browser is gone")
            self._buffer += piece
        message, self._buffer = self._buffer.split(b"\0", 1)
        return json.loads(message)

    def open(self, path, *, width=1200, height=1600):
        self.events.clear()
        self.call(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=1,
            mobile=False,
        )
        self.call("Page.navigate", url=path.as_uri())
        self.wait("document.readyState === 'complete'")

    def ask(self, expression):
        answer = self.call("Runtime.evaluate", expression=expression, returnByValue=True, awaitPromise=True)
        assert "exceptionDetails" not in answer, answer
        return answer["result"].get("value")

    def wait(self, expression):
        end = time.monotonic() + _PATIENCE_S
        while not self.ask(expression):
            assert time.monotonic() < end, f"never true: {expression}"
            time.sleep(0.05)

    def picture(self, selector=None):
        options = {"format": "png"}
        if selector:
            box = self.ask(
                f"(() => {{ const b = document.querySelector('{selector}').getBoundingClientRect();"
                "return {x: b.x + scrollX, y: b.y + scrollY, width: b.width, height: b.height, scale: 1};})()"
            )
            options |= {"clip": box, "captureBeyondViewport": True}
        return base64.b64decode(self.call("Page.captureScreenshot", **options)["data"])

    def whole_page(self):
        size = self.call("Page.getLayoutMetrics")["cssContentSize"]
        clip = {"x": 0, "y": 0, "width": size["width"], "height": size["height"], "scale": 1}
        return base64.b64decode(
            self.call("Page.captureScreenshot", format="png", clip=clip, captureBeyondViewport=True)["data"]
        )

    def requests(self):
        """Every address asked for since the page was opened, the page itself aside."""
        urls = [
            event["params"]["request"]["url"]
            for event in self.events
            if event.get("method") == "Network.requestWillBeSent"
        ]
        return [url for url in urls[1:] if not url.startswith("data:")]

    def complaints(self):
        """Console errors and warnings, exceptions and log entries since the page was opened."""
        found = []
        for event in self.events:
            kind, detail = event.get("method"), event.get("params", {})
            if kind == "Runtime.exceptionThrown":
                found.append(detail["exceptionDetails"])
            elif kind == "Runtime.consoleAPICalled" and detail["type"] in ("error", "warning", "assert"):
                found.append(detail["args"])
            elif kind == "Log.entryAdded" and detail["entry"]["level"] in ("error", "warning"):
                found.append(detail["entry"])
        return found

    def close(self):
        with contextlib.suppress(Exception):
            self._session = None
            self.call("Browser.close")
        for handle in (self._to, self._from):
            os.close(handle)
        try:
            self._process.wait(10)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
