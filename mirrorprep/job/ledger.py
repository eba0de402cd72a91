"""The ledger of a cohort: one row per scan in SQLite, so that a batch survives any stop."""

import json
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from mirrorprep.errors import OutputError

LEDGER_FILE: Final = "ledger.sqlite"
STATES: Final = ("waiting", "running", "done", "stopped", "failed")

_TABLES: Final = """
CREATE TABLE IF NOT EXISTS scans (
    code TEXT PRIMARY KEY, digest TEXT NOT NULL, bytes INTEGER NOT NULL, state TEXT NOT NULL,
    attempts INTEGER NOT NULL DEFAULT 0, exit_code INTEGER, message TEXT NOT NULL DEFAULT '',
    seconds REAL, timings TEXT NOT NULL DEFAULT '{}', peak_mib REAL, result TEXT NOT NULL DEFAULT '{}'
);
CREATE TABLE IF NOT EXISTS settings (name TEXT PRIMARY KEY, value TEXT NOT NULL);
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One scan of a cohort.

    Attributes
    ----------
    code : str
        Subject code; the name of its folder.
    digest : str
        SHA-256 of the scan file. The file's name never enters the ledger.
    bytes : int
        Size of the file.
    state : str
        ``waiting``, ``running``, ``done``, ``stopped`` (by a finding) or ``failed``.
    attempts : int
        How often it was started.
    exit_code : int or None
        As the command line would have ended.
    message : str
        What failed, without any file name.
    seconds, peak_mib : float or None
        Time taken, and the largest memory of its worker so far.
    timings : dict
        Seconds of each stage.
    result : dict
        Figures and findings for the summary.
    """

    code: str
    digest: str
    bytes: int
    state: str = "waiting"
    attempts: int = 0
    exit_code: int | None = None
    message: str = ""
    seconds: float | None = None
    timings: dict[str, float] = field(default_factory=dict)
    peak_mib: float | None = None
    result: dict[str, Any] = field(default_factory=dict)


class Ledger:
    """The rows of a cohort, each change on disk before the next begins.

    Parameters
    ----------
    file : path-like
        SQLite file; made when absent.

    Raises
    ------
    OutputError
        If it cannot be opened.
    """

    def __init__(self, file: Path | str) -> None:
        self._file = Path(file)
        try:
            with self._open() as base:
                base.execute("PRAGMA journal_mode = WAL")
                base.executescript(_TABLES)
        except sqlite3.Error as error:
            raise OutputError(
                f"The ledger '{self._file}' cannot be opened: {error}.", remedy="Choose another folder."
            ) from error

    @contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        base = sqlite3.connect(self._file, timeout=30.0)
        try:
            with base:
                yield base
        finally:
            base.close()

    def setting(self, name: str, value: str) -> str:
        """Return a setting, stored with `value` when it was not there yet."""
        with self._open() as base:
            base.execute("INSERT OR IGNORE INTO settings VALUES (?, ?)", (name, value))
            row = base.execute("SELECT value FROM settings WHERE name = ?", (name,)).fetchone()
        return str(row[0])

    def add(self, entries: Iterable[Entry]) -> None:
        """Add scans that are not there yet; what was running when the last run ended waits again."""
        with self._open() as base:
            base.execute("UPDATE scans SET state = 'waiting' WHERE state = 'running'")
            base.executemany(
                "INSERT OR IGNORE INTO scans (code, digest, bytes, state) VALUES (?, ?, ?, 'waiting')",
                [(entry.code, entry.digest, entry.bytes) for entry in entries],
            )

    def start(self, code: str) -> None:
        """Note that a scan was begun."""
        with self._open() as base:
            base.execute(
                "UPDATE scans SET state = 'running', attempts = attempts + 1 WHERE code = ?", (code,)
            )

    def finish(self, code: str, outcome: dict[str, Any]) -> None:
        """Note how a scan ended."""
        with self._open() as base:
            base.execute(
                "UPDATE scans SET state = ?, exit_code = ?, message = ?, seconds = ?, timings = ?, "
                "peak_mib = ?, result = ? WHERE code = ?",
                (
                    outcome["state"],
                    outcome["exit_code"],
                    outcome["message"],
                    outcome["seconds"],
                    json.dumps(outcome["timings"]),
                    outcome["peak_mib"],
                    json.dumps(outcome["result"], sort_keys=True),
                    code,
                ),
            )

    def entries(self) -> list[Entry]:
        """Return all scans in the order of their codes."""
        names = "code, digest, bytes, state, attempts, exit_code, message, seconds, timings, peak_mib, result"
        with self._open() as base:
            rows = base.execute(f"SELECT {names} FROM scans ORDER BY code").fetchall()  # noqa: S608
        keys = names.split(", ")
        plain = [dict(zip(keys, row, strict=True)) for row in rows]
        parsed = ({name: json.loads(row[name]) for name in ("timings", "result")} for row in plain)
        return [Entry(**{**row, **tables}) for row, tables in zip(plain, parsed, strict=True)]
