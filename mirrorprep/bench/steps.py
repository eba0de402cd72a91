"""The steps that a person walks: their titles, the stage behind each, and how far each has come."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from mirrorprep.bench.plain import plain
from mirrorprep.job.records import Glance
from mirrorprep.job.tables import Job
from mirrorprep.solid.finding import Finding, Severity


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchStep:
    """One step of the page, the stage behind it, and the bodies it shows: name to label and role."""

    name: str
    title: str
    stage: str
    bodies: Mapping[str, tuple[str, str]]


STEPS: Final = (
    BenchStep(
        name="scan",
        title="Scan in",
        stage="intake",
        bodies={"scan": ("scan", "scan"), "part": ("part", "part"), "recipient": ("recipient", "scan")},
    ),
    BenchStep(
        name="condition",
        title="Condition",
        stage="condition",
        bodies={"before": ("before mending", "scan"), "after": ("after mending", "part")},
    ),
    BenchStep(name="plane", title="Mirror plane", stage="symmetry", bodies={"scan": ("scan", "scan")}),
    BenchStep(
        name="mirror",
        title="Mirror",
        stage="symmetry",
        bodies={"donor": ("donor side", "donor"), "mirrored": ("mirrored", "mirrored")},
    ),
    BenchStep(
        name="seat",
        title="Seat",
        stage="seating",
        bodies={"skin": ("recipient surface", "scan"), "part": ("seated part", "mirrored")},
    ),
    BenchStep(name="measure", title="Measure", stage="measurement", bodies={"part": ("part", "mirrored")}),
    BenchStep(name="parting", title="Parting", stage="measurement", bodies={"part": ("part", "mirrored")}),
    BenchStep(
        name="mould",
        title="Mould",
        stage="mould",
        bodies={
            "half_a": ("half a", "half_a"),
            "half_b": ("half b", "half_b"),
            "casting": ("casting", "part"),
            "channels": ("sprue and vents", "channel"),
        },
    ),
    BenchStep(name="pour", title="Pour", stage="pour", bodies={"cavity": ("cavity", "part")}),
    BenchStep(name="handover", title="Handover", stage="handover", bodies={}),
)


def step_named(name: str) -> BenchStep | None:
    """Return a step, None when there is none of that name."""
    return next((step for step in STEPS if step.name == name), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """Where a job stands.

    Attributes
    ----------
    keys : dict of str to str
        Current key of every stage that the job goes through, the handover among them; empty when the job
        cannot be planned.
    kept : dict of str to Glance
        What the store holds, by stage, whatever its key.
    job : Job or None
        The job.
    """

    keys: Mapping[str, str]
    kept: Mapping[str, Glance]
    job: Job | None

    def done(self, stage: str) -> bool:
        """Tell whether a stage's record is the one that the job asks for."""
        return stage in self.keys and stage in self.kept and self.kept[stage].key == self.keys[stage]

    def stops(self, stage: str) -> bool:
        """Tell whether a finding of a stage stops the job."""
        waived = self.job.waive.codes if self.job is not None else ()
        findings = self.kept[stage].record.findings if stage in self.kept else ()
        return any(f.severity is Severity.STOP and f.code not in waived for f in findings)

    def state(self, step: BenchStep) -> str:
        """Return empty, ready, done, stale, stopped or left out."""
        if self.keys and step.stage not in self.keys:
            return "left out"
        if step.name == "parting":
            return self._parting()
        if self.done(step.stage):
            return "stopped" if self.stops(step.stage) else "done"
        if step.stage in self.kept:
            return "stale"
        return "ready" if self._reached(step.stage) else "empty"

    def _parting(self) -> str:
        if not self.done("measurement"):
            return "stale" if "measurement" in self.kept else "empty"
        stated = self.job is not None and self.job.mould.pull_direction is not None
        return "done" if stated or self.done("mould") else "ready"

    def _reached(self, stage: str) -> bool:
        """Tell whether everything before a stage is done."""
        if stage not in self.keys:
            return False
        order = list(self.keys)
        before = order[: order.index(stage)]
        return all(self.done(name) and not self.stops(name) for name in before)

    def as_list(self) -> list[dict[str, object]]:
        """Return every step as plain data for JSON."""
        return [self._step(step) for step in STEPS]

    def _step(self, step: BenchStep) -> dict[str, object]:
        state = self.state(step)
        kept = self.kept.get(step.stage) if state != "left out" else None
        told = {} if kept is None else kept.record.figures
        if step.name == "parting" and "mould" in self.kept:
            told = self.kept["mould"].record.figures
        return {
            "name": step.name,
            "title": step.title,
            "state": state,
            "key": kept.key if kept is not None else "",
            "figures": plain(told) if step.name != "parting" else plain(_parting_figures(told)),
            "findings": [self._finding(f) for f in (kept.record.findings if kept is not None else ())],
            "bodies": [] if kept is None else self._bodies(step),
        }

    def _finding(self, finding: Finding) -> object:
        waived = self.job is not None and finding.code in self.job.waive.codes
        return plain({**finding.as_dict(), "waived": waived})

    def _bodies(self, step: BenchStep) -> list[dict[str, object]]:
        from mirrorprep.bench.sources import source_of

        found = []
        for name, (label, role) in step.bodies.items():
            source = source_of(step.name, name, self)
            if source is None:
                continue
            stage, shape = source.stage, source.shape
            found.append(
                {
                    "name": name,
                    "label": label,
                    "role": role,
                    "triangles": self.kept[stage].triangles[shape],
                    "maps": list(source.maps),
                }
            )
        return found


def _parting_figures(told: Mapping[str, Any]) -> dict[str, Any]:
    names = ("pull_direction", "parting", "trapped_mm3", "max_undercut_mm")
    return {name: told[name] for name in names if name in told}
