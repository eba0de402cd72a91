"""What the child does, done in this process: a demonstration that is laid and run through its first steps."""

import pytest

from mirrorprep.bench.chores import Chores
from mirrorprep.bench.desk import Desk
from mirrorprep.bench.worker import Task
from mirrorprep.errors import JobFileError
from mirrorprep.progress import SILENT


def test_the_demonstration_is_laid_and_its_first_steps_run(tmp_path, monkeypatch):
    desk = Desk(tmp_path)
    tasks = []
    monkeypatch.setattr(desk.runner, "start", lambda task, stages: tasks.append((task, stages)))
    chores = Chores()
    desk.demo(detail="small", replace=False)
    chores.do(tasks[-1][0], SILENT)
    assert desk.files.current().job.job.code == "DEMO-1"
    desk.run("condition")
    task, stages = tasks[-1]
    assert stages == ("intake", "condition")
    chores.do(task, SILENT)
    standing = desk.standing()
    assert standing.done("condition")
    assert not standing.done("symmetry")
    before = (desk.files.store / "intake.npz").stat().st_mtime_ns
    Chores().do(task, SILENT)  # another process would find the same records
    assert (desk.files.store / "intake.npz").stat().st_mtime_ns == before
    desk.close()


def test_a_job_that_cannot_run_is_refused(tmp_path):
    with pytest.raises(JobFileError):
        Chores().do(Task(kind="run", folder=str(tmp_path), tables={}, keys={}), SILENT)
