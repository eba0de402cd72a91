"""Where each body of the page comes from: the stage, the shape, and the maps that lie on it."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from mirrorprep.bench.steps import Standing


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """One body of the page.

    Attributes
    ----------
    stage, shape : str
        The record and the shape in it.
    maps : tuple of str
        Names of the maps on it.
    maps_of : str
        The stage whose record holds them; empty when they are worked out.
    reflected : bool
        Whether it is shown as its mirror image about the plane.
    """

    stage: str
    shape: str
    maps: tuple[str, ...] = ()
    maps_of: str = ""
    reflected: bool = False


_MOULD_BODIES: Final = ("half_a", "half_b", "casting", "channels")


def source_of(step: str, name: str, standing: "Standing") -> Source | None:
    """Return the source of a body, None when the store holds no such shape."""
    wanted = _wanted(step, name, standing)
    if wanted is None or wanted.stage not in standing.kept:
        return None
    if wanted.shape not in standing.kept[wanted.stage].triangles:
        return None
    if wanted.reflected and "symmetry" not in standing.kept:
        return None
    if wanted.maps_of and wanted.maps_of not in standing.kept:
        return Source(stage=wanted.stage, shape=wanted.shape, reflected=wanted.reflected)
    return wanted


def _wanted(step: str, name: str, standing: "Standing") -> Source | None:
    if step == "mould" and name in _MOULD_BODIES:
        return Source(stage="mould", shape=name)
    seated = standing.job is not None and standing.job.seating.seat
    table = _BODIES[seated]
    if (step, name) == ("seat", "skin"):
        recipient = standing.job is not None and bool(standing.job.seating.recipient)
        return Source(stage="intake", shape="recipient") if recipient else table.get((step, name))
    if (step, name) == ("condition", "before") and not seated:
        whole = "intake" in standing.kept and "part" not in standing.kept["intake"].triangles
        return Source(stage="intake", shape="scan" if whole else "part")
    return table.get((step, name))


_ALWAYS: Final = {
    ("scan", "scan"): Source(stage="intake", shape="scan"),
    ("scan", "part"): Source(stage="intake", shape="part"),
    ("scan", "recipient"): Source(stage="intake", shape="recipient"),
    ("plane", "scan"): Source(stage="intake", shape="scan", maps=("asymmetry_mm",), maps_of="symmetry"),
    ("mould", "cavity"): Source(stage="mould", shape="cavity", maps=("undercut_mm",), maps_of="mould"),
    ("pour", "cavity"): Source(stage="mould", shape="casting"),
}
_BODIES: Final = {
    True: {
        **_ALWAYS,
        ("condition", "before"): Source(stage="intake", shape="scan"),
        ("condition", "after"): Source(stage="condition", shape="scan", maps=("moved_mm",)),
        ("mirror", "donor"): Source(stage="condition", shape="scan"),
        ("mirror", "mirrored"): Source(stage="condition", shape="scan", reflected=True),
        ("seat", "skin"): Source(stage="intake", shape="scan", maps=("healthy_mm",), maps_of="seating"),
        ("seat", "part"): Source(
            stage="seating", shape="mirrored", maps=("back_mm", "undercut_mm"), maps_of="seating"
        ),
        ("measure", "part"): Source(stage="seating", shape="mirrored", maps=("wall_mm",)),
        ("parting", "part"): Source(stage="seating", shape="mirrored"),
    },
    False: {
        **_ALWAYS,
        ("condition", "after"): Source(stage="condition", shape="part", maps=("moved_mm",)),
        ("mirror", "donor"): Source(stage="condition", shape="part"),
        ("mirror", "mirrored"): Source(stage="symmetry", shape="mirrored"),
        ("measure", "part"): Source(stage="symmetry", shape="mirrored", maps=("wall_mm",)),
        ("parting", "part"): Source(stage="symmetry", shape="mirrored"),
    },
}


def part_source(standing: "Standing") -> Source | None:
    """Return the source of the part that is measured and cast."""
    return source_of("measure", "part", standing)
