"""A folder is held by one bench, and let go of when that ends, however it ends."""

import subprocess
import sys

import pytest

from mirrorprep.bench.lock import hold
from mirrorprep.errors import OutputError

HOLD = "import sys, time; from pathlib import Path; from mirrorprep.bench.lock import hold\n"
HOLD += "held = hold(Path(sys.argv[1])); print('held', flush=True); time.sleep(60)"


def test_a_killed_holder_leaves_the_folder_free(tmp_path):
    with subprocess.Popen([sys.executable, "-c", HOLD, str(tmp_path)], stdout=subprocess.PIPE) as other:
        assert other.stdout.readline().strip() == b"held"
        with pytest.raises(OutputError, match="another bench"):
            hold(tmp_path)
        other.kill()
        other.wait()
    hold(tmp_path).close()


def test_a_folder_that_is_not_there(tmp_path):
    with pytest.raises(OutputError, match="cannot be used"):
        hold(tmp_path / "absent")
