"""Fuzz campaign for the intake room: damaged files of every format, each of which must end well.

Run on demand::

    python tests/fuzz_intake.py --cases 20000 --seed 1 --workers 2

A case ends well when, within the time and memory allowed, it gives a `ScanMesh` whose numbers are finite and
whose indices exist, or raises a `MirrorPrepError` with a message and a remedy; without a warning, and without
a file left behind. Running out of memory, or the reader's last resort for errors it did not foresee, count
as faults here. Cases are made from their number and the seed alone, so any of them can be run again
(``--only 1234``). Workers are processes with a limit on their address space; a worker that dies or hangs
names its case and is replaced.
"""

import argparse
import importlib.util
import io
import json
import os
import re
import subprocess
import sys
import tempfile
import time
import warnings
import zipfile
from collections import Counter
from pathlib import Path

import numpy as np

from mirrorprep.errors import MirrorPrepError
from mirrorprep.intake.read import read_scan

CASE_SECONDS = 5.0
"""Processor time that a case may take."""

HANG_SECONDS = 60.0
"""Time on the clock after which a silent worker is stopped."""

LARGEST_BASE_BYTES = 100_000
MEMORY_BYTES = 1536 * 2**20
"""Address space of a worker: its libraries map about 700 MiB of it before the first case."""

_WORDS = [b"nan", b"inf", b"-inf", b"1e400", b"1e-400", b"-1", b"0", b"1", b"2147483648", b"4294967295"]
_WORDS += [
    b"99999999999999999999",
    b"1e9",
    b"1e30",
    b"-0.0",
    b"1,5",
    b"0x10",
    b"",
    b"1/2/3",
    b"3.5",
    b"#",
    b"\\",
]
_NUMBERS = [0, 1, 2, 3, 255, 65535, 2**16, 2**24, 2**31 - 1, 2**31, 2**32 - 1]
_JSON_VALUES = [None, True, -1, 0, 1, 3, 2**31, 2**40, 1e308, 1e999, "x", [], {}, [0], [1e999] * 16, 5126]
_XML_VALUES = [
    "",
    "nan",
    "1e400",
    "-1",
    "0",
    "1",
    "99999999999999999999",
    "../x",
    "/3D/3dmodel.model",
    "inch",
    "x" * 2000,
]


def say(line):
    """Write a line at once."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def samples(folder=""):
    """Return the small files that everything starts from, and those of a folder if one is given."""
    path = Path(__file__).parent / "intake" / "samples.py"
    spec = importlib.util.spec_from_file_location("fuzz_samples", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    found = module.every_format()
    for path in sorted(Path(folder).iterdir()) if folder else ():
        if path.stat().st_size <= LARGEST_BASE_BYTES:
            found[path.name] = path.read_bytes()
    return found


def _span(rng, data, longest=64):
    start = int(rng.integers(0, len(data) + 1))
    return start, min(len(data), start + int(rng.integers(0, longest)))


def flip(rng, data):
    """Change some bytes."""
    out = bytearray(data)
    for place in rng.integers(0, max(len(out), 1), int(rng.integers(1, 9))):
        if out:
            out[place] = int(rng.integers(0, 256))
    return bytes(out)


def cut(rng, data):
    """Drop the end."""
    return data[: int(rng.integers(0, len(data) + 1))]


def drop(rng, data):
    """Drop some bytes inside."""
    start, stop = _span(rng, data)
    return data[:start] + data[stop:]


def insert(rng, data):
    """Put in random bytes."""
    start, stop = _span(rng, data)
    return data[:start] + rng.bytes(stop - start) + data[start:]


def repeat(rng, data):
    """Repeat a piece, now and then very often."""
    start, stop = _span(rng, data, 200)
    return data[:start] + data[start:stop] * int(rng.choice([2, 3, 50, 3000])) + data[stop:]


def number(rng, data):
    """Overwrite four bytes with a number that breaks counts and offsets."""
    start = int(rng.integers(0, max(len(data) - 4, 1)))
    order = "little" if rng.random() < 0.7 else "big"
    return data[:start] + int(rng.choice(_NUMBERS)).to_bytes(4, order) + data[start + 4 :]


def word(rng, data):
    """Replace a word of text."""
    found = list(re.finditer(rb"[^\s]+", data[: 2**16]))
    if not found:
        return data
    chosen = found[int(rng.integers(0, len(found)))]
    return data[: chosen.start()] + _WORDS[int(rng.integers(0, len(_WORDS)))] + data[chosen.end() :]


def head_word(rng, data):
    """Replace a word near the beginning, where counts and formats stand."""
    place = min(len(data), 400)
    return word(rng, data[:place]) + data[place:]


def digit(rng, data):
    """Change digits of text into other digits, so that most of the file still makes sense."""
    places = [match.start() for match in re.finditer(rb"[0-9]", data[: 2**16])]
    out = bytearray(data)
    for place in rng.choice(places, min(len(places), 3)) if places else ():
        out[place] = ord("0") + int(rng.integers(0, 10))
    return bytes(out)


def lines(rng, data):
    """Swap, drop or double lines."""
    rows = data.split(b"\n")
    a, b = (int(k) for k in rng.integers(0, len(rows), 2))
    action = int(rng.integers(0, 3))
    if action == 0:
        rows[a], rows[b] = rows[b], rows[a]
    elif action == 1:
        del rows[a]
    else:
        rows.insert(b, rows[a])
    return b"\n".join(rows)


def transfer(rng, data):
    """Damage as by careless programs: line ends, encodings, lost line ends."""
    changes = [
        lambda: data.replace(b"\n", b"\r\n"),
        lambda: data.replace(b"\r\n", b"\n"),
        lambda: data.decode("utf-8", "replace").encode(),
        lambda: data.decode("latin-1").encode("utf-16"),
        lambda: data.decode("latin-1").encode(),
        lambda: data.replace(b"\n", b" "),
        lambda: data.replace(b".", b","),
        lambda: b"\xef\xbb\xbf" + data,
        lambda: data + b"\0" * 500,
        data.upper,
    ]
    return changes[int(rng.integers(0, len(changes)))]()


def _json_places(node, path=()):
    yield path
    children = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    for key, child in children:
        yield from _json_places(child, (*path, key))


def document(rng, data):
    """Change a value in the description of a GLB file and keep the container right."""
    size = int.from_bytes(data[12:16], "little")
    if not data.startswith(b"glTF") or size > len(data):
        return flip(rng, data)
    try:
        text = json.loads(data[20 : 20 + size])
    except ValueError:
        return flip(rng, data)
    places = [path for path in _json_places(text) if path]
    path = places[int(rng.integers(0, len(places)))]
    holder = text
    for key in path[:-1]:
        holder = holder[key]
    holder[path[-1]] = _JSON_VALUES[int(rng.integers(0, len(_JSON_VALUES)))]
    packed = json.dumps(text).encode()
    packed += b" " * (-len(packed) % 4)
    body = len(packed).to_bytes(4, "little") + b"JSON" + packed + data[20 + size :]
    return b"glTF" + (2).to_bytes(4, "little") + (12 + len(body)).to_bytes(4, "little") + body


def xml(rng, data):
    """Change an attribute or the text of a part of a package and pack it again."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = {name: archive.read(name) for name in archive.namelist()}
    except Exception:  # noqa: BLE001 - whatever an already damaged package raises
        return flip(rng, data)
    name = list(parts)[int(rng.integers(0, len(parts)))]
    found = list(re.finditer(rb'"([^"]*)"', parts[name]))
    if found and rng.random() < 0.8:
        chosen = found[int(rng.integers(0, len(found)))]
        value = _XML_VALUES[int(rng.integers(0, len(_XML_VALUES)))].encode()
        parts[name] = parts[name][: chosen.start(1)] + value + parts[name][chosen.end(1) :]
    else:
        change = (flip, drop, insert, repeat, lines)[int(rng.integers(0, 5))]
        parts[name] = change(rng, parts[name])
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for key, content in parts.items():
            archive.writestr(key, content)
    return stream.getvalue()


GENERAL = (flip, cut, drop, insert, repeat, number, word, head_word, digit, digit, lines, transfer)


def make_case(bases, seed, index):
    """Return a damaged file as (name, bytes, unit, welding tolerance), from its number and the seed alone."""
    rng = np.random.default_rng([seed, index])
    names = sorted(bases)
    name = names[int(rng.integers(0, len(names)))]
    data = bases[name]
    special = {".glb": document, ".3mf": xml}.get(Path(name).suffix)
    for _ in range(int(rng.choice([1, 1, 1, 2, 3, 5]))):
        change = GENERAL[int(rng.integers(0, len(GENERAL)))]
        if special is not None and rng.random() < 0.7:
            change = special
        data = change(rng, data)
    if rng.random() < 0.05:
        other = bases[names[int(rng.integers(0, len(names)))]]
        data = cut(rng, data) + other[int(rng.integers(0, len(other) + 1)) :]
    if rng.random() < 0.1:
        name = "x" + Path(names[int(rng.integers(0, len(names)))]).suffix
    unit = [None, "mm", "m"][int(rng.integers(0, 3))]
    weld_mm = [None, None, 0.0, 0.1, 1e6][int(rng.integers(0, 5))]
    return name, data, unit, weld_mm


def judge_error(error):
    """Hold an error against what every error must be."""
    assert error.message.strip(), "an error without a message"
    assert error.remedy.strip(), "an error without a remedy"
    assert "stops the reader" not in error.message, f"not foreseen: {error.__cause__!r}"
    assert "memory" not in error.message, "out of memory"


def judge_mesh(mesh):
    """Hold a mesh against what every mesh must be."""
    assert len(mesh.faces) > 0, "a mesh without triangles"
    assert np.isfinite(mesh.vertices).all(), "a coordinate that is not finite"
    assert mesh.faces.min() >= 0, "a negative index"
    assert mesh.faces.max() < len(mesh.vertices), "an index too high"
    assert np.abs(mesh.vertices).max() <= 1e9, "a vertex too far away"
    assert mesh.colors is None or mesh.colors.shape == (len(mesh.vertices), 4), "colours do not fit"


def run_case(case, folder):
    """Run one case; return how it ended, or raise AssertionError with what is wrong about it."""
    name, data, unit, weld_mm = case
    path = Path(folder, name)
    path.write_bytes(data)
    start = time.process_time()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            mesh = read_scan(path, unit, weld_mm=weld_mm)
    except MirrorPrepError as error:
        ending = type(error).__name__
        judge_error(error)
    else:
        ending = "mesh"
        judge_mesh(mesh)
    seconds = time.process_time() - start
    path.unlink()
    assert not os.listdir(folder), "a file left behind"
    assert seconds < CASE_SECONDS, f"{seconds:.1f} s (limit {CASE_SECONDS} s)"
    return ending, seconds


def work(seed, start, stop, step, folder):
    """Run a worker's share of the cases and print one line for each."""
    import resource

    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    bases = samples(folder)
    with tempfile.TemporaryDirectory() as folder:
        for index in range(start, stop, step):
            say(f"begin {index}")
            try:
                ending, seconds = run_case(make_case(bases, seed, index), folder)
                say(f"end {index} {ending} {seconds:.4f}")
            except BaseException as error:  # noqa: BLE001 - every way to fail is what is looked for
                say(f"fault {index} {type(error).__name__}: {str(error)[:200]!r}")
                for left in Path(folder).iterdir():
                    left.unlink()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    say(f"peak {peak}")


class Supervisor:
    """Keeps one worker going and takes down what it says."""

    def __init__(self, seed, start, stop, step, folder):
        self.seed, self.next, self.stop, self.step, self.folder = seed, start, stop, step, folder
        self.endings, self.faults, self.slowest, self.peak = Counter(), [], (0.0, -1), 0

    def run(self):
        """Run all cases of this share, with a new process after each one that kills its worker."""
        while self.next < self.stop:
            self._one_process()

    def _one_process(self):
        import threading

        begun, last = self.next, time.monotonic()
        command = [sys.executable, __file__, "--also", self.folder, "--work"]
        command += [str(number) for number in (self.seed, begun, self.stop, self.step)]
        environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
        worker = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment)
        hung = threading.Event()

        def watch():
            while worker.poll() is None:
                if time.monotonic() - last > HANG_SECONDS:
                    hung.set()
                    worker.kill()
                time.sleep(0.5)

        threading.Thread(target=watch, daemon=True).start()
        open_case = None
        for line in worker.stdout:
            last = time.monotonic()
            kind, *rest = line.split(maxsplit=2)
            if kind == "begin":
                open_case = int(rest[0])
            elif kind == "peak":
                self.peak = max(self.peak, int(rest[0]))
            else:
                self._note(kind, int(rest[0]), rest[1])
                open_case = None
        code = worker.wait()
        if open_case is not None:
            reason = (
                f"hung, stopped after {HANG_SECONDS:.0f} s"
                if hung.is_set()
                else f"killed its worker ({code})"
            )
            self.faults.append((open_case, reason))
            self.next = open_case + self.step
        elif code:
            raise SystemExit(f"a worker failed with code {code} outside any case")
        else:
            self.next = self.stop

    def _note(self, kind, index, text):
        self.next = index + self.step
        if kind == "fault":
            self.faults.append((index, text.strip()))
            return
        ending, seconds = text.split()
        self.endings[ending] += 1
        self.slowest = max(self.slowest, (float(seconds), index))


def campaign(cases, seed, workers, folder):
    """Run the campaign and print its result; return the number of faults."""
    import threading

    shares = [Supervisor(seed, k, cases, workers, folder) for k in range(workers)]
    threads = [threading.Thread(target=share.run) for share in shares]
    start = time.monotonic()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    endings = sum((share.endings for share in shares), Counter())
    faults = sorted(fault for share in shares for fault in share.faults)
    slowest = max(share.slowest for share in shares)
    done = sum(endings.values()) + len(faults)
    seconds = time.monotonic() - start
    say(f"{done} cases in {seconds:.0f} s, seed {seed}: {dict(endings)}, {len(faults)} faults")
    peak = max(share.peak for share in shares)
    say(f"slowest case {slowest[1]}: {slowest[0]:.2f} s; peak memory of a worker {peak} MiB")
    for index, reason in faults:
        say(f"  case {index}: {reason}")
    return len(faults)


def main():
    """Read the command line."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--cases", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--also", default="", help="a folder whose small files are damaged too")
    parser.add_argument("--only", type=int, help="run this case alone and show its traceback")
    parser.add_argument("--work", type=int, nargs=4, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.work:
        work(*options.work, options.also)
    elif options.only is not None:
        with tempfile.TemporaryDirectory() as folder:
            case = make_case(samples(options.also), options.seed, options.only)
            say(f"{case[0]} {len(case[1])} bytes {case[2:]} {case[1][:200]!r}")
            say(str(run_case(case, folder)))
    else:
        sys.exit(campaign(options.cases, options.seed, options.workers, options.also) > 0)


if __name__ == "__main__":
    main()
