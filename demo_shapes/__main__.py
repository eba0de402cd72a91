"""``python -m demo_shapes OUT_DIR``: write the demonstration shapes as files."""

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

import demo_shapes
from demo_shapes.table import small_shapes, table_text
from mirrorprep import cautions
from mirrorprep.errors import MirrorPrepError
from mirrorprep.handover.atomic import output_folder, write_text
from mirrorprep.handover.files import write_ply, write_stl
from mirrorprep.solid.mesh import ScanMesh

_TWINS = ("holes", "noise", "islands", "spikes", "duplicates", "flipped", "inverted", "in-metres", "raw")


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the shapes and return the exit code."""
    parser = argparse.ArgumentParser(prog="python -m demo_shapes", description=__doc__)
    parser.add_argument("folder", type=Path, help="folder for the files; made when absent")
    parser.add_argument("--detail", choices=("full", "small"), default="full", help="size of the triangles")
    parser.add_argument("--seed", type=int, default=0, help="draws the pose and the damage")
    parser.add_argument("--shipped", action="store_true", help="only the files that ship with the package")
    parser.add_argument("--overwrite", action="store_true", help="replace files that exist")
    chosen = parser.parse_args(arguments)
    try:
        writer = _Writer(output_folder(chosen.folder), overwrite=chosen.overwrite)
        if chosen.shipped:
            _write_shipped(writer)
        else:
            _write_all(writer, chosen.detail, chosen.seed)
    except MirrorPrepError as error:
        sys.stderr.write(f"{error}\n")
        return error.exit_code
    return 0


class _Writer:
    """Writes files into one folder, one line each."""

    def __init__(self, folder: Path, *, overwrite: bool) -> None:
        self._folder, self._overwrite = folder, overwrite

    def mesh(self, mesh: ScanMesh, name: str) -> None:
        write = write_stl if name.endswith(".stl") else write_ply
        path = write(mesh, self._folder / name, overwrite=self._overwrite)
        _say(f"{path}: {len(mesh.faces)} triangles, {path.stat().st_size / 1e6:.2f} MB")

    def text(self, text: str, name: str) -> None:
        path = write_text(self._folder / name, text, overwrite=self._overwrite)
        _say(f"{path}: table of true values")


def _write_shipped(writer: _Writer) -> None:
    for stem, mesh in small_shapes().items():
        writer.mesh(mesh, f"{stem}.ply")
    writer.text(table_text(), "true_values.json")


def _write_all(writer: _Writer, detail: str, seed: int) -> None:
    _say(cautions.RESEARCH_ONLY)
    head = demo_shapes.phantom_head(detail, seed=seed)
    organic = {
        "head": head.scan,
        "ear": demo_shapes.ear(detail).solid.mesh,
        "animal": demo_shapes.animal(detail).solid.mesh,
    }
    for name, mesh in organic.items():
        writer.mesh(mesh, f"{name}.ply")
        for kind in _TWINS:
            writer.mesh(demo_shapes.damage(mesh, [kind], seed=seed), f"{name}-{kind}.ply")
    writer.mesh(head.true_ear, "head-missing-ear.ply")
    for name in demo_shapes.PLAIN_NAMES:
        writer.mesh(demo_shapes.plain(name).solid.mesh, f"{name}.stl")
    writer.text(table_text(), "true_values.json")


def _say(line: str) -> None:
    sys.stdout.write(f"{line}\n")


if __name__ == "__main__":
    sys.exit(main())
