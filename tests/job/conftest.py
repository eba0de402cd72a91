"""A small cohort, run once undisturbed, for the tests of batches."""

import hashlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from mirrorprep.handover.files import write_stl
from mirrorprep.job.batch import run_batch
from mirrorprep.job.ledger import LEDGER_FILE, Ledger
from mirrorprep.solid.primitives import box, sphere

TEMPLATE = """
[job]
code = "T"
purpose = "research"
human_data = false
[scan]
units = "mm"
[plane]
normal = [0, 1, 0]
[mould]
build = false
[output]
pictures = false
"""


@dataclass
class Cohort:
    """Where its scans, template and batches lie."""

    folder: Path

    @property
    def scans(self) -> Path:
        return self.folder / "scans"

    @property
    def template(self) -> Path:
        return self.folder / "template.toml"

    def results(self, name: str | Path) -> dict[str, str]:
        """Digests of all files handed over, by folder and name."""
        place = self.folder / name
        return {
            str(path.relative_to(place)): hashlib.sha256(path.read_bytes()).hexdigest()
            for path in sorted(place.glob("T-*/*.*"))
            if path.is_file()
        }

    def states(self, name: str | Path) -> list[str]:
        """States of all scans."""
        return [entry.state for entry in Ledger(self.folder / name / LEDGER_FILE).entries()]


@pytest.fixture(scope="session")
def cohort(tmp_path_factory):
    """Two good scans with telling names, one that is no mesh, and an undisturbed batch in 'calm'."""
    made = Cohort(tmp_path_factory.mktemp("cohort"))
    made.scans.mkdir()
    for number in range(2):
        body = sphere(20.0 + number, segments=24).transformed(np.diag([1.0, 0.8, 0.6, 1.0]))
        write_stl(body + box([9, 9, 9], center_mm=[6, 0, 12 + number]), made.scans / f"Jane Doe {number}.stl")
    (made.scans / "Jane Doe broken.stl").write_bytes(b"not a mesh at all")
    made.template.write_text(TEMPLATE)
    run_batch(made.scans, made.template, made.folder / "calm", workers=2)
    return made
