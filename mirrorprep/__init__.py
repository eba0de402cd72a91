"""From a 3D scan to a mirrored, certified solid and a verified two-part mould.

Not for clinical use: see SAFETY.md. The public names below load on first use, so that
``import mirrorprep`` stays light.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from mirrorprep.condition.check import check
    from mirrorprep.condition.mend import mend
    from mirrorprep.errors import MirrorPrepError
    from mirrorprep.intake.read import read_scan
    from mirrorprep.job.run import run_job
    from mirrorprep.measurement.measure import measure
    from mirrorprep.mould.build import build_mould
    from mirrorprep.pour.plan import plan_pour
    from mirrorprep.seating.deviation import compare
    from mirrorprep.seating.seat import seat
    from mirrorprep.solid.certify import certify
    from mirrorprep.solid.finding import Finding, Severity
    from mirrorprep.solid.mesh import ScanMesh
    from mirrorprep.solid.plane import Plane
    from mirrorprep.solid.solid import Solid
    from mirrorprep.symmetry.mirroring import mirror
    from mirrorprep.symmetry.search import find_mirror_plane

__version__: Final = "0.1.0"

_HOMES: Final = {
    "Finding": "mirrorprep.solid.finding",
    "MirrorPrepError": "mirrorprep.errors",
    "Plane": "mirrorprep.solid.plane",
    "ScanMesh": "mirrorprep.solid.mesh",
    "Severity": "mirrorprep.solid.finding",
    "Solid": "mirrorprep.solid.solid",
    "build_mould": "mirrorprep.mould.build",
    "certify": "mirrorprep.solid.certify",
    "check": "mirrorprep.condition.check",
    "compare": "mirrorprep.seating.deviation",
    "find_mirror_plane": "mirrorprep.symmetry.search",
    "measure": "mirrorprep.measurement.measure",
    "mend": "mirrorprep.condition.mend",
    "mirror": "mirrorprep.symmetry.mirroring",
    "plan_pour": "mirrorprep.pour.plan",
    "read_scan": "mirrorprep.intake.read",
    "run_job": "mirrorprep.job.run",
    "seat": "mirrorprep.seating.seat",
}

__all__ = [
    "Finding",
    "MirrorPrepError",
    "Plane",
    "ScanMesh",
    "Severity",
    "Solid",
    "build_mould",
    "certify",
    "check",
    "compare",
    "find_mirror_plane",
    "measure",
    "mend",
    "mirror",
    "plan_pour",
    "read_scan",
    "run_job",
    "seat",
]


def __getattr__(name: str) -> object:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'mirrorprep' has no attribute '{name}'")


def __dir__() -> list[str]:
    return sorted([*__all__, "__version__"])
