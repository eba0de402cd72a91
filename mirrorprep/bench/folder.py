"""The folder of one bench job: its job file with revisions, and the files that the job names."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, Final

from mirrorprep.bench.jobtext import Changes, edited, tables_of
from mirrorprep.bench.lock import hold
from mirrorprep.errors import JobFileError, MirrorPrepError, UsageError
from mirrorprep.handover.atomic import atomic_write, output_folder, remove_leftovers, write_text
from mirrorprep.job.jobfile import check_job, job_from, template
from mirrorprep.job.run import WORK_FOLDER, digest_of_file
from mirrorprep.job.stages import FILES
from mirrorprep.job.tables import Job

Stamp = tuple[int, int, int]

JOB_FILE: Final = "job.toml"
_LARGEST_JOB_BYTES: Final = 1 << 20
_INNER: Final = frozenset({"output.folder"})


class StaleRevisionError(MirrorPrepError):
    """A change was made to a job that has changed since it was shown."""

    exit_code = 4


class UnreadableJobError(JobFileError):
    """The job file is no TOML, or cannot be read."""


@dataclass(frozen=True, slots=True, kw_only=True)
class JobState:
    """The job file as it stands.

    Attributes
    ----------
    revision : int
        Rises whenever the file's text changes, whoever changed it.
    text : str
        The file.
    tables : dict
        What it states.
    job : Job or None
        The same with every default; None when a value is wrong.
    problem : MirrorPrepError or None
        Why the job cannot run as it stands.
    """

    revision: int
    text: str
    tables: dict[str, Any]
    job: Job | None
    problem: MirrorPrepError | None


class JobFolder:
    """One job in one folder, changed by one change at a time.

    Parameters
    ----------
    folder : Path
        Made when absent; so is its job file.

    Raises
    ------
    OutputError
        If another bench holds the folder, or it cannot be written.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = output_folder(folder).resolve()
        self._held: IO[bytes] | None = hold(self.folder)
        self._change = threading.RLock()
        self.store = output_folder(self.inside(WORK_FOLDER))
        for place in (self.folder, self.store):
            remove_leftovers(place)
        if not self.job_file.exists():
            write_text(self.job_file, template())
        self._stamp: Stamp | None = None
        self._state = _read(0, "")
        self.current()

    def close(self) -> None:
        """Let the folder go."""
        if self._held is not None:
            self._held.close()
            self._held = None

    @property
    def job_file(self) -> Path:
        """The job file."""
        return self.folder / JOB_FILE

    def current(self) -> JobState:
        """Return the job, taken up anew when somebody else wrote the file."""
        with self._change:
            stamp = _stamp(self.job_file)
            if stamp is None or stamp != self._stamp:
                self._stamp = stamp
                text = _text(self.job_file)
                if text != self._state.text or self._state.revision == 0:
                    self._state = _read(self._state.revision + 1, text)
            return self._state

    def change(self, changes: Changes, *, base: int | None = None) -> JobState:
        """Change entries of the job file, all or none.

        Parameters
        ----------
        changes : mapping
            New values by full name; None takes the entry out.
        base : int, optional
            The revision that the change was made on.

        Raises
        ------
        StaleRevisionError
            If the job is no longer at `base`.
        JobFileError
            If a name or value is wrong; nothing is changed then.
        """
        for name, value in changes.items():
            self._refuse_outside(name, value)
        with self._change:
            state = self._expect(base)
            self._expect_readable()
            return self.write(edited(state.text, changes))

    def write(self, text: str) -> JobState:
        """Replace the text of the job file."""
        with self._change:
            self.current()
            write_text(self.inside(JOB_FILE), text, overwrite=True)
            return self.current()

    def _expect(self, base: int | None) -> JobState:
        state = self.current()
        if base is not None and base != state.revision:
            raise StaleRevisionError(
                f"The job has changed since this page last saw it (revision {base}, now {state.revision}).",
                remedy="Look at it again and repeat the change.",
            )
        return state

    def _expect_readable(self) -> None:
        problem = self.current().problem
        if isinstance(problem, UnreadableJobError):
            raise problem

    def _refuse_outside(self, name: str, value: object) -> None:
        """Refuse names of files that lie outside the folder, or are not there."""
        if name not in FILES | _INNER or not isinstance(value, str) or not value:
            return
        if not is_bare_name(value):
            raise JobFileError(
                f"{name} is '{value}', which is not the plain name of a file in the job's folder.",
                remedy="Choose a file on the page, so that it is copied into the folder.",
            )
        if name in FILES and not self.inside(value).is_file():
            raise JobFileError(
                f"{name} is '{value}', and the job's folder has no such file.", remedy="Choose the file."
            )

    def inside(self, name: str) -> Path:
        """Return the place of a name in the folder.

        Raises
        ------
        UsageError
            If that lies outside it.
        """
        place = (self.folder / name).resolve()
        if not place.is_relative_to(self.folder) or place == self.folder:
            raise UsageError(
                f"'{name}' lies outside the job's folder.", remedy="Name a place inside the folder."
            )
        return place

    @contextmanager
    def receive(self, name: str, *, entry: str, also: Changes) -> Iterator[IO[bytes]]:
        """Open a file of the folder for writing; when the block ends well the job names it.

        Files that an earlier one of the same stem left behind are removed. A name that leads outside, as a
        link may, is refused.
        """
        self._expect_readable()
        place = self.inside(name)
        with atomic_write(place, overwrite=True) as stream:
            yield stream
        with self._change:
            self.change({**also, entry: name})
            _forget(self.folder, place.stem, but=name)

    def remove(self, stem: str, changes: Changes) -> JobState:
        """Take entries out of the job and remove the file they named."""
        with self._change:
            state = self.change(changes)
            _forget(self.folder, stem, but="")
            return state


class Digests:
    """Digests of files, each hashed again only when it has changed."""

    def __init__(self) -> None:
        self._known: dict[tuple[str, Stamp], str] = {}

    def of(self, file: Path) -> str:
        """Return the digest of a file, empty when it cannot be read."""
        stamp = _stamp(file)
        if stamp is None or not file.is_file():
            return ""
        if (str(file), stamp) not in self._known:
            self._known[str(file), stamp] = digest_of_file(file)
        return self._known[str(file), stamp]


def _forget(folder: Path, stem: str, *, but: str) -> None:
    """Remove the files of a stem, but for one."""
    for other in folder.glob(f"{stem}.*"):
        if other.name != but and other.is_file():
            with suppress(OSError):
                other.unlink()


def is_bare_name(name: str) -> bool:
    """Tell whether a text is the plain name of a file: no folder, drive or hidden file."""
    return not set(name) & set('/\\:*?"<>|\0') and not name.startswith(".") and name == name.strip(" .")


def _stamp(file: Path) -> Stamp | None:
    try:
        found = file.stat()
    except OSError:
        return None
    return found.st_ino, found.st_mtime_ns, found.st_size


def _text(file: Path) -> str:
    """Return the job file's text, empty when there is none."""
    try:
        with open(file, "rb") as stream:
            return stream.read(_LARGEST_JOB_BYTES + 1).decode("utf-8", errors="surrogateescape")
    except OSError:
        return ""


def _read(revision: int, text: str) -> JobState:
    tables: dict[str, Any] = {}
    job: Job | None = None
    problem: MirrorPrepError | None = None
    try:
        if len(text) > _LARGEST_JOB_BYTES:
            raise JobFileError("The job file is too large.", remedy="Name a smaller one.")
        if any("\ud800" <= letter <= "\udfff" for letter in text):
            raise JobFileError("The job file is not UTF-8 text.", remedy="Save it as UTF-8.")
        tables = tables_of(text)
    except JobFileError as error:
        problem = UnreadableJobError(error.message, remedy=error.remedy)
    if problem is None:
        try:
            job = job_from(tables)
            check_job(job)
        except MirrorPrepError as error:
            problem = error
    return JobState(revision=revision, text=text, tables=tables, job=job, problem=problem)
