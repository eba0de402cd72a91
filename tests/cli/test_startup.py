"""The command line starts light and turns every error into one sentence and its exit code."""

import json
import subprocess
import sys

import pytest

from mirrorprep import cautions
from mirrorprep.cli.main import COMMANDS

HEAVY = ("trimesh", "scipy", "vtk", "vtkmodules", "vedo", "matplotlib", "manifold3d")


def run(*words: str, code: str | None = None) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "mirrorprep", *words] if code is None else [sys.executable, "-c", code]
    return subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)


def test_help_loads_no_heavy_library():
    probe = (
        "import sys\nfrom mirrorprep.cli.main import build_app, run\nsys.argv = ['mirrorprep', '--help']\n"
        f"code = run(build_app())\nprint(code, [m for m in {HEAVY!r} if m in sys.modules], file=sys.stderr)"
    )
    result = run(code=probe)
    assert result.stderr.strip() == "0 []"
    assert all(command in result.stdout for command in COMMANDS)
    assert cautions.RESEARCH_ONLY.split(".")[0] in " ".join(result.stdout.replace("│", " ").split())


def test_importing_the_package_is_light():
    result = run(
        code=f"import sys, mirrorprep\nprint([m for m in ('numpy', *{HEAVY!r}) if m in sys.modules])"
    )
    assert result.stdout.strip() == "[]"


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_explains_itself(command):
    result = run(command, "--help")
    assert result.returncode == 0
    assert "Usage" in result.stdout
    assert result.stderr == ""


@pytest.mark.parametrize(
    ("words", "code", "sentence"),
    [
        (["nonsense"], 2, "No such command"),
        (["measure"], 2, "Missing argument"),
        (["measure", "absent.stl"], 3, "absent.stl"),
        (["run", "absent.toml"], 4, "absent.toml"),
        (["check", "pyproject.toml", "--units", "furlong"], 2, "furlong"),
    ],
)
def test_bad_input_gets_a_sentence_and_its_exit_code(words, code, sentence):
    result = run(*words)
    assert (result.returncode, result.stdout) == (code, "")
    assert sentence in result.stderr
    assert "Traceback" not in result.stderr


def test_version_and_sources():
    assert run("--version").stdout.startswith("mirrorprep 0.")
    result = run("cite", "--json")
    assert "sources" in json.loads(result.stdout)
    assert result.stderr.strip() == cautions.RESEARCH_ONLY
