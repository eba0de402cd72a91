"""The child process: busy, cancelled, killed, and at work again."""

import os
import signal
import sys
import time

import pytest

from mirrorprep.bench.runner import BusyError, Runner
from mirrorprep.bench.worker import Task, _answer, serve
from mirrorprep.errors import InputFileError


@pytest.fixture(scope="module")
def runner():
    made = Runner(lambda: None)
    yield made
    made.close()


def ended(runner, seconds=120.0):
    until = time.monotonic() + seconds
    while runner.running is not None and time.monotonic() < until:
        time.sleep(0.02)
    assert runner.running is None
    return runner.failed


def demo(folder, detail="full"):
    return Task(kind="demo", folder=str(folder), tables={}, keys={}, detail=detail)


@pytest.mark.skipif(sys.platform == "win32", reason="needs SIGKILL")
def test_killed_cancelled_and_at_work_again(runner, tmp_path):
    """Whatever ends the child, nothing half is left, one sentence says so, and the next task runs."""
    runner.start(demo(tmp_path), ())
    child = runner._child[0]
    with pytest.raises(BusyError, match="busy"):
        runner.start(demo(tmp_path), ())
    os.kill(child.pid, signal.SIGKILL)
    failed = ended(runner)
    assert failed["message"] == "The work on 'demo' was ended from outside or crashed (signal 9)."
    assert failed["remedy"]
    assert list(tmp_path.iterdir()) == []

    runner.start(demo(tmp_path), ())
    assert runner.running.as_dict()["step"] == "demo"
    assert runner.cancel()
    assert ended(runner) is None
    assert list(tmp_path.iterdir()) == []
    assert not runner.cancel()

    runner.start(demo(tmp_path, "small"), ())
    assert ended(runner) is None
    assert sorted(path.name for path in tmp_path.iterdir()) == ["head.ply", "job.toml"]
    warm = runner._child[0].pid
    runner.start(Task(kind="run", folder=str(tmp_path), tables={}, keys={}), ("intake",))
    assert ended(runner) == {
        "step": "intake",
        "message": "job.purpose is ''.",
        "remedy": "State one of research, teaching, demonstration.",
        "exit_code": 4,
    }
    assert runner._child[0].pid == warm


class Pipe:
    """A pipe that holds one task and remembers what is sent."""

    def __init__(self):
        self.sent = []

    def send(self, message):
        self.sent.append(message)


@pytest.mark.parametrize(
    ("error", "words", "code"),
    [
        (InputFileError("No scan.", remedy="Give one."), "No scan.", 3),
        (MemoryError(), "Out of memory.", 1),
        (KeyError("x"), "This is a bug (KeyError: 'x').", 1),
    ],
)
def test_every_error_becomes_one_sentence(error, words, code):
    def do(task, progress):
        raise error

    word, told = _answer(do, demo("."), Pipe())
    assert (word, told["message"], told["exit_code"]) == ("failed", words, code)


def test_progress_is_told_a_few_times_a_second():
    pipe = Pipe()

    def do(task, progress):
        for number in range(1000):
            progress.step("one", number / 1000)
        progress.step("two", 1.0)

    assert _answer(do, demo("."), pipe) == ("done", None)
    labels = [told[0] for _, told in pipe.sent]
    assert labels[0] == "one"
    assert labels[-1] == "two"
    assert len(labels) < 50


def test_the_child_leaves_when_its_pipe_closes():
    class Closed:
        def recv(self):
            raise EOFError

    before = signal.getsignal(signal.SIGINT)
    try:
        serve(Closed())
    finally:
        signal.signal(signal.SIGINT, before)
