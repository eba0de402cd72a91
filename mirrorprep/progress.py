"""Progress reports and cancelling, without any display of its own."""

from collections.abc import Callable

from mirrorprep.errors import CancelledError


def _silent(label: str, fraction: float) -> None:
    """Report nothing."""


def _never() -> bool:
    return False


class Progress:
    """A reporter that long operations call between their steps.

    Parameters
    ----------
    report : callable, optional
        Called as ``report(label, fraction)`` with a fraction from 0 to 1.
    cancelled : callable, optional
        Asked before every report; when it answers True the operation ends with `CancelledError`.

    Examples
    --------
    >>> seen = []
    >>> Progress(lambda label, fraction: seen.append((label, fraction))).step("reading", 0.5)
    >>> seen
    [('reading', 0.5)]
    """

    def __init__(
        self,
        report: Callable[[str, float], None] = _silent,
        cancelled: Callable[[], bool] = _never,
    ) -> None:
        self._report = report
        self._cancelled = cancelled

    def step(self, label: str, fraction: float) -> None:
        """Report that `label` is done to `fraction` (0 to 1).

        Raises
        ------
        CancelledError
            If the caller asked for it.
        """
        if self._cancelled():
            raise CancelledError(f"Cancelled during {label}.", remedy="Nothing was written.")
        self._report(label, min(max(fraction, 0.0), 1.0))

    def part(self, start: float, stop: float) -> "Progress":
        """Return a reporter for a stage that spans ``start`` to ``stop`` of this one."""
        return Progress(
            lambda label, fraction: self.step(label, start + (stop - start) * fraction), self._cancelled
        )


SILENT = Progress()
