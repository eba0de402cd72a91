"""The tables of a job file. Reading, the commented template and the JSON schema all follow these classes."""

from dataclasses import Field, dataclass, field
from typing import Any, Final, Literal

Triple = tuple[float, float, float]

PURPOSES: Final = ("research", "teaching", "demonstration")


def entry(text: str, *, default: Any, **limits: float) -> Any:  # noqa: ANN401
    """Return a dataclass field with the comment that the template and the schema show."""
    return field(default=default, metadata={"text": text, **limits})


def text_of(item: "Field[Any]") -> str:
    """Return the comment of a field."""
    return str(item.metadata.get("text", ""))


@dataclass(frozen=True, slots=True, kw_only=True)
class JobTable:
    """Who asks for what. Never write a person's name anywhere in this file."""

    code: str = entry("Subject code, letters, digits and hyphens, never a name. Required.", default="")
    purpose: str = entry(
        "research, teaching or demonstration. Required; clinical use is refused.", default=""
    )
    human_data: bool | None = entry("Whether any scan shows a person. Required.", default=None)
    consent: Literal["", "recorded"] = entry('Must be "recorded" when human_data is true.', default="")
    use: str = entry("What the part is for, in the requester's words.", default="")
    features: tuple[str, ...] = entry("Features that matter to the requester.", default=())
    tolerance_mm: float | None = entry("Deviation the requester accepts.", default=None, low=1e-3, high=50.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class ScanTable:
    """The scan on which the mirror plane is found. Files are named relative to this job file."""

    file: str = entry("STL, PLY, OBJ, OFF, GLB or 3MF file. Required.", default="")
    units: str = entry("mm, cm, m, in, ft or micron; empty takes the file's own unit.", default="")
    keep_region: str = entry("File of the region to keep; all else is cropped away at once.", default="")
    colors: bool = entry("Keep the scan's colours; a photograph on a face is personal.", default=False)
    accuracy_mm: float | None = entry(
        "Accuracy of the scanner, one standard deviation.", default=None, low=1e-4, high=50.0
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class PartTable:
    """The healthy part to mirror, in the scan's coordinates."""

    file: str = entry("File of the part; empty mirrors the whole scan.", default="")
    units: str = entry("As for the scan.", default="")
    mend: bool = entry("Mend the part until it is a solid; false stops when it is none.", default=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaneTable:
    """The mirror plane: searched, unless a normal is stated."""

    landmarks: str = entry("File of midline points and left-right pairs.", default="")
    region: str = entry("File of the region to use or to leave out.", default="")
    choose: int = entry("Which plane of the ranked list to take.", default=1, low=1, high=50)
    normal: Triple | None = entry("Stated normal, instead of a search.", default=None)
    offset_mm: float = entry("Offset of a stated plane.", default=0.0)
    seed: int = entry("Seed of the search.", default=0, low=0, high=2**31)


@dataclass(frozen=True, slots=True, kw_only=True)
class SeatingTable:
    """Seating the mirrored part on the recipient side; without it the part file is mirrored as it is."""

    seat: bool = entry("Cut the part out of the scan and seat it on the recipient side.", default=False)
    recipient: str = entry("Second scan, of the recipient side; empty takes the same scan.", default="")
    recipient_units: str = entry("As for the scan.", default="")
    donor_landmarks: str = entry("Landmarks on the scan; join two scans, with the next.", default="")
    recipient_landmarks: str = entry("The same landmarks on the recipient's scan.", default="")
    mirrored: bool = entry("Mirror the donor between two scans; a plane always mirrors.", default=True)
    select: Literal["auto", "plane", "box", "sphere", "loop"] = entry(
        "Donor region: auto takes what stands out with no counterpart.", default="auto"
    )
    plane_normal: Triple | None = entry("Select what lies in front of this plane.", default=None)
    plane_offset_mm: float = entry("Offset of that plane.", default=0.0)
    box_low: Triple | None = entry("Select what lies in a box between two corners.", default=None)
    box_high: Triple | None = entry("The other corner.", default=None)
    sphere_center: Triple | None = entry("Select what lies in a sphere.", default=None)
    sphere_radius_mm: float = entry("Its radius.", default=40.0, low=0.1, high=2000.0)
    loop: str = entry("File of a closed loop of points on the scan.", default="")
    near: Triple | None = entry("A place beside the wanted piece of several; else the largest.", default=None)
    grow_mm: float = entry("How far an automatic region is grown.", default=3.0, low=0.0, high=60.0)
    ring_mm: float = entry(
        "Width of the ring of skin that settles the part.", default=12.0, low=2.0, high=80.0
    )
    most_shift_mm: float = entry("How far settling may move the part.", default=3.0, low=0.0, high=50.0)
    most_turn_deg: float = entry("How far it may turn it.", default=3.0, low=0.0, high=45.0)
    edge_mm: float = entry("Thickness of the margin at its rim.", default=0.5, low=0.05, high=10.0)
    edge_width_mm: float = entry("Width over which it thins.", default=4.0, low=0.2, high=60.0)
    floor_mm: float = entry("Least thickness over the skin elsewhere.", default=0.8, low=0.05, high=20.0)
    gap_mm: float = entry("Room for adhesive on the back.", default=0.0, low=0.0, high=2.0)
    close_hollows: bool = entry("Close what dips below the skin, as an ear canal.", default=True)
    direction: Triple | None = entry("Direction in which the part comes off the skin.", default=None)
    retention: Literal["none", "holes", "posts"] = entry("Features on the back.", default="none")
    retention_count: int = entry("How many.", default=3, low=1, high=24)
    retention_diameter_mm: float = entry("Diameter of each.", default=4.0, low=0.5, high=30.0)
    retention_length_mm: float = entry("Depth of a hole, height of a post.", default=3.0, low=0.5, high=50.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class MaterialTable:
    """The casting material; figures from your data sheet replace the generic ones of the class."""

    name: str = entry(
        "Material class; 'mirrorprep cite materials' lists them.", default="addition-cure silicone"
    )
    density_g_cm3: float | None = entry("Density when cast.", default=None, low=0.05, high=25.0)
    shrinkage: float | None = entry("Linear shrinkage: 0.01 is 1 %.", default=None, low=-0.05, high=0.2)
    viscosity_pa_s: float | None = entry("Viscosity of the mix.", default=None, low=1e-4, high=1e4)
    pot_life_s: float | None = entry("Time for which the mix can be poured.", default=None, low=1.0, high=1e6)
    least_wall_mm: float | None = entry(
        "Thinnest wall of a part; left out, common practice.", default=None, low=0.05, high=50.0
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class PrintTable:
    """How the mould will be printed."""

    process: Literal["fff", "sla", "sls"] = entry("Print process.", default="fff")
    bed_mm: Triple = entry("Room of the printer.", default=(220.0, 220.0, 250.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class MouldTable:
    """The mould."""

    build: bool = entry("Build a mould; false ends after measuring.", default=True)
    body: Literal["shell", "block", "cylinder"] = entry("Outside of the mould.", default="shell")
    wall_mm: float = entry("Least wall between cavity and outside.", default=6.0, low=0.5, high=100.0)
    parting: Literal["auto", "plane", "contour"] = entry("Parting surface.", default="auto")
    pull_direction: Triple | None = entry("Opening direction; searched when left out.", default=None)
    pour_up: Triple | None = entry("Up while pouring; searched when left out.", default=None)
    key_count: int | None = entry(
        "Register keys, 0 or at least 2; left out, by the length of the edge.", default=None, low=0, high=24
    )
    bolts: str = entry("Clamp bolts: none, M3, M4, M5 ...", default="M4")
    bolt_count: int = entry("Number of clamp bolts.", default=4, low=0, high=24)
    sprue_diameter_mm: float = entry("Sprue where it meets the cavity.", default=8.0, low=2.0, high=60.0)
    vent_diameter_mm: float = entry("Vents where they meet the cavity.", default=2.0, low=0.5, high=10.0)
    marks: bool = entry("Cut marks into the halves: half, pull arrow, job code.", default=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class OutputTable:
    """What to hand over."""

    folder: str = entry("Folder for the results, relative to this job file.", default="handover")
    pictures: bool = entry("Draw pictures for the traveller.", default=True)
    lesson: bool = entry("Write the workflow as an illustrated lesson too.", default=False)
    page: Literal["a4", "letter"] = entry("Page of the PDF traveller.", default="a4")


@dataclass(frozen=True, slots=True, kw_only=True)
class WaiveTable:
    """Findings of severity 'stop' that a responsible person accepts; each stands in the traveller."""

    codes: tuple[str, ...] = entry("Codes of the findings waived.", default=())


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A job: what to make of which scan, for whom and why.

    One attribute per table of the job file.
    """

    job: JobTable = JobTable()
    scan: ScanTable = ScanTable()
    part: PartTable = PartTable()
    plane: PlaneTable = PlaneTable()
    seating: SeatingTable = SeatingTable()
    material: MaterialTable = MaterialTable()
    print: PrintTable = PrintTable()
    mould: MouldTable = MouldTable()
    output: OutputTable = OutputTable()
    waive: WaiveTable = WaiveTable()
