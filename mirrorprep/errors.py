"""The exception tree. Every error that leaves mirrorprep is one of these.

::

    MirrorPrepError                     exit code
    ├── UsageError                      2    the command or call was not understood
    ├── InputFileError                  3    a scan file cannot be read
    ├── JobFileError                    4    the job file is wrong or incomplete
    ├── GeometryError                   5    the shape does not allow the operation
    │   ├── NotASolidError                   open, not manifold or inside out
    │   ├── NoMirrorPlaneError               no plane of symmetry was found
    │   ├── NoPartingError                   no mould can be parted that way
    │   └── BooleanFailedError               the solid kernel gave up
    ├── StoppedByFindingError           6    a finding of severity 'stop' was not waived
    ├── OutputError                     7    a result cannot be written
    ├── MissingExtraError               8    an optional package is not installed
    └── CancelledError                  130  the user or the caller cancelled
"""

from typing import ClassVar


class MirrorPrepError(Exception):
    """Base of all errors: one clear sentence and what to do about it.

    Parameters
    ----------
    message : str
        What is wrong, with the value and the limit.
    remedy : str
        What the user can do.

    Examples
    --------
    >>> str(MirrorPrepError("The file holds 0 triangles.", remedy="Export it again."))
    'The file holds 0 triangles. Export it again.'
    """

    exit_code: ClassVar[int] = 1

    def __init__(self, message: str, *, remedy: str) -> None:
        super().__init__(message)
        self.message = message
        self.remedy = remedy

    def __str__(self) -> str:
        return f"{self.message} {self.remedy}"

    def __reduce__(self) -> tuple[object, ...]:
        return _rebuild, (type(self), self.message, self.remedy)


def _rebuild(kind: type[MirrorPrepError], message: str, remedy: str) -> MirrorPrepError:
    return kind(message, remedy=remedy)


class UsageError(MirrorPrepError):
    """The command or call was not understood."""

    exit_code = 2


class InputFileError(MirrorPrepError):
    """A scan file cannot be read."""

    exit_code = 3


class JobFileError(MirrorPrepError):
    """The job file is wrong or incomplete."""

    exit_code = 4


class GeometryError(MirrorPrepError):
    """The shape does not allow the operation."""

    exit_code = 5


class NotASolidError(GeometryError):
    """The surface is open, not manifold or inside out."""


class NoMirrorPlaneError(GeometryError):
    """No plane of symmetry was found."""


class NoPartingError(GeometryError):
    """No mould can be parted that way."""


class BooleanFailedError(GeometryError):
    """The solid kernel could not carry out an operation."""


class StoppedByFindingError(MirrorPrepError):
    """A finding of severity 'stop' was not waived."""

    exit_code = 6


class OutputError(MirrorPrepError):
    """A result cannot be written."""

    exit_code = 7


class MissingExtraError(MirrorPrepError):
    """An optional package is not installed."""

    exit_code = 8


class CancelledError(MirrorPrepError):
    """The user or the caller cancelled."""

    exit_code = 130
