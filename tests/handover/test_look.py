"""The plain window: refused without a display, and drawn off-screen it shows the mesh."""

import subprocess
import sys

import pytest

from mirrorprep.errors import OutputError
from mirrorprep.handover.display import working_window
from mirrorprep.handover.look import look
from mirrorprep.solid.primitives import box


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="other systems always have a display")
def test_without_a_display_it_says_so(monkeypatch):
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    with pytest.raises(OutputError, match="no display"):
        look(box([1, 2, 3]).mesh)


@pytest.mark.skipif(working_window() is None, reason="this machine cannot draw off-screen")
def test_window_shows_the_mesh():
    code = (
        "import os\n"
        "from mirrorprep.handover.display import working_window\n"
        "os.environ['VTK_DEFAULT_OPENGL_WINDOW'] = working_window()\n"
        "from mirrorprep.handover.look import look\n"
        "from mirrorprep.solid.primitives import box\n"
        "image = look(box([10, 20, 30]).mesh, offscreen=True).screenshot(asarray=True)\n"
        "print(image.ndim, int(image.max()) - int(image.min()) > 60)\n"
    )
    shown = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=120, check=False
    )
    assert shown.stdout.split() == ["3", "True"], shown.stderr
