"""Finding: what a stage noticed, how bad it is and what to do about it."""

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from enum import StrEnum


class Severity(StrEnum):
    """How much a finding weighs."""

    NOTE = "note"
    CAUTION = "caution"
    STOP = "stop"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One observation with its code, severity and remedy.

    Attributes
    ----------
    code : str
        Stable kebab-case name, such as ``open-edges``; waivers refer to it.
    severity : Severity
        ``note``, ``caution`` or ``stop``.
    message : str
        One clear sentence.
    where : tuple of (float, float, float)
        Places in millimetres, at most a few dozen, for pictures; empty when not local.
    measured, limit : float or None
        The measured value and the limit it is held against, in the unit the message names.
    remedy : str
        What the user can do.

    Examples
    --------
    >>> Finding(code="unit-guessed", severity=Severity.CAUTION, message="The unit was guessed.").code
    'unit-guessed'
    """

    code: str
    severity: Severity
    message: str
    where: tuple[tuple[float, float, float], ...] = ()
    measured: float | None = None
    limit: float | None = None
    remedy: str = ""

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        return {**asdict(self), "severity": str(self.severity)}


def worst(findings: Iterable[Finding]) -> Severity:
    """Return the gravest severity among `findings`, ``note`` when there are none."""
    order = list(Severity)
    return max((finding.severity for finding in findings), key=order.index, default=Severity.NOTE)
