"""Can this machine draw? Asked in a child process, because a missing display can kill the one that asks."""

import os
import subprocess
import sys
from functools import cache
from importlib import import_module
from typing import Any, Final

from mirrorprep.errors import OutputError
from mirrorprep.solid.finding import Finding, Severity

_LINUX_WINDOWS: Final = ("vtkEGLRenderWindow", "vtkOSOpenGLRenderWindow", "vtkXOpenGLRenderWindow")
_PROBE_TIMEOUT_S: Final = 60.0
_DRAWN: Final = "drawn"


def candidates() -> tuple[str, ...]:
    """Return the window classes to try, the ones that need no display first."""
    if sys.platform.startswith("linux"):
        return _LINUX_WINDOWS
    return ("vtkRenderWindow",)


@cache
def working_window() -> str | None:
    """Return the first window class that draws a picture in a child process, or None."""
    return next((name for name in candidates() if _probe(name)), None)


def drawing_finding() -> Finding | None:
    """Return None when pictures can be drawn, else a finding that says what is missing.

    A job that gets the finding goes on without pictures.
    """
    if working_window() is not None:
        return None
    return Finding(
        code="no-pictures",
        severity=Severity.CAUTION,
        message="This machine cannot draw pictures off-screen; the sheets go without them.",
        remedy="Install the EGL library of the system's graphics driver (Mesa on Linux) and run again.",
    )


def open_window() -> Any:  # noqa: ANN401 - VTK has no types
    """Return an off-screen render window that was seen to work.

    Raises
    ------
    OutputError
        If none does.
    """
    name = working_window()
    if name is None:
        finding = drawing_finding()
        raise OutputError(finding.message if finding else "", remedy=finding.remedy if finding else "")
    return _new_window(name)


def _new_window(name: str) -> Any:  # noqa: ANN401
    os.environ.setdefault("EGL_LOG_LEVEL", "fatal")
    logger = import_module("vtkmodules.vtkCommonCore").vtkLogger
    logger.SetStderrVerbosity(logger.VERBOSITY_OFF)
    opengl = import_module("vtkmodules.vtkRenderingOpenGL2")
    core = import_module("vtkmodules.vtkRenderingCore")
    window = getattr(opengl, name, None) or getattr(core, name)
    made = window()
    made.SetOffScreenRendering(1)
    made.SetMultiSamples(0)
    return made


def _probe(name: str) -> bool:
    """Return whether a child process can draw a blue picture with this window class."""
    command = [sys.executable, "-m", "mirrorprep.handover.display", name]
    try:
        done = subprocess.run(  # noqa: S603 - our own module
            command, capture_output=True, text=True, timeout=_PROBE_TIMEOUT_S, check=False
        )
    except (OSError, subprocess.TimeoutExpired):
        return False
    return done.returncode == 0 and _DRAWN in done.stdout


def _draw_blue(name: str) -> bool:
    window = _new_window(name)
    renderer = import_module("vtkmodules.vtkRenderingCore").vtkRenderer()
    renderer.SetBackground(0.0, 0.0, 1.0)
    window.AddRenderer(renderer)
    window.SetSize(8, 8)
    window.Render()
    pixels = import_module("vtkmodules.vtkCommonCore").vtkUnsignedCharArray()
    window.GetPixelData(0, 0, 7, 7, 0, pixels, 0)
    return pixels.GetNumberOfTuples() == 64 and tuple(pixels.GetTuple(0)[:3]) == (0.0, 0.0, 255.0)


if __name__ == "__main__":
    sys.stdout.write(_DRAWN if _draw_blue(sys.argv[1]) else "blank")
