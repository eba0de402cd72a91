"""The probe answers without noise, and its failure becomes a finding."""

import os
import subprocess
import sys

import pytest

from mirrorprep.errors import OutputError
from mirrorprep.handover import display


def test_a_window_that_does_not_exist_is_no_window():
    assert display._probe("vtkNoSuchRenderWindow") is False


def test_no_window_becomes_a_finding_and_an_error(monkeypatch):
    monkeypatch.setattr(display, "working_window", lambda: None)
    finding = display.drawing_finding()
    assert finding.code == "no-pictures"
    assert finding.remedy
    with pytest.raises(OutputError, match="cannot draw"):
        display.open_window()


def test_a_child_that_hangs_or_cannot_start_is_no_window(monkeypatch):
    monkeypatch.setattr(display, "_PROBE_TIMEOUT_S", 0.001)
    assert display._probe("vtkEGLRenderWindow") is False
    monkeypatch.setattr(display.sys, "executable", "/nowhere/python")
    assert display._probe("vtkEGLRenderWindow") is False


def test_candidates_need_no_display_first(monkeypatch):
    monkeypatch.setattr(display.sys, "platform", "linux")
    assert display.candidates()[0] == "vtkEGLRenderWindow"
    monkeypatch.setattr(display.sys, "platform", "win32")
    assert display.candidates() == ("vtkRenderWindow",)


def test_drawing_without_a_display_makes_no_noise(drawing):
    environment = {key: value for key, value in os.environ.items() if key != "DISPLAY"}
    code = (
        "from mirrorprep.handover.pictures import picture_scan\n"
        "from mirrorprep.solid.primitives import sphere\n"
        "print(picture_scan(sphere(10))[:4])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, env=environment
    )
    assert done.stdout.strip() == "b'\\x89PNG'"
    assert done.stderr == ""


def test_the_probe_draws_blue(drawing):
    assert display._draw_blue(display.working_window())
    assert display.drawing_finding() is None
