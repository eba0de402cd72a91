"""Processor seconds of each part of a handover: python tests/benchmarks/handover.py JOB.toml FOLDER."""

import argparse
import sys
import time
from pathlib import Path

from mirrorprep.job import delivery, pictures
from mirrorprep.job.run import run_job

PARTS = ("write_mould", "prove_written", "draw_pictures", "picture_thumbnail", "write_traveller")


def main() -> None:
    """Run the job once with a stopwatch around every part of its handover."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("job", type=Path)
    parser.add_argument("folder", type=Path)
    chosen = parser.parse_args()
    spent: dict[str, float] = {}
    drawers = [name for name in vars(pictures) if name.startswith(("picture_", "draw_"))]
    for module, names in ((pictures, drawers), (delivery, PARTS)):
        for name in names:
            _watch(module, name, spent)
    start = time.process_time()
    run_job(chosen.job, folder=chosen.folder, overwrite=True)
    spent["whole job"] = time.process_time() - start
    for name, seconds in spent.items():
        sys.stdout.write(f"{name:22} {seconds:6.2f}\n")


def _watch(module: object, name: str, spent: dict[str, float]) -> None:
    plain = getattr(module, name)

    def watched(*given: object, **options: object) -> object:
        start = time.process_time()
        try:
            return plain(*given, **options)
        finally:
            spent[name] = spent.get(name, 0.0) + time.process_time() - start

    setattr(module, name, watched)


if __name__ == "__main__":
    main()
