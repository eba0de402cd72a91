"""From the records of a job to what stands on its traveller."""

from collections.abc import Iterable
from typing import Any, Final

from mirrorprep import cautions
from mirrorprep.handover.figure_text import parts_words, value_words
from mirrorprep.handover.provenance import flat_settings, library_versions
from mirrorprep.handover.traveller import (
    Check,
    Figure,
    FileEntry,
    MethodSource,
    Picture,
    Section,
    State,
    Step,
    TravellerData,
    Verdict,
    Waiver,
)
from mirrorprep.job.mould_sheet import mould_section, unvented
from mirrorprep.job.piece_sheet import piece_checks, printing_steps
from mirrorprep.job.scene import scene_of
from mirrorprep.job.seat_sheet import seating_checks, seating_section
from mirrorprep.job.stages import Work
from mirrorprep.mould.proof import IDENTITY_LIMIT
from mirrorprep.solid.finding import Severity
from mirrorprep.sources import SOURCES

_NAMES_OF_FILES: Final = (
    *("file", "landmarks", "region", "keep_region", "folder"),
    *("recipient", "donor_landmarks", "recipient_landmarks", "loop"),
)


def traveller_data(
    work: Work, files: Iterable[FileEntry], pictures: tuple[Picture, ...] = ()
) -> TravellerData:
    """Return everything that stands on the traveller of a job."""
    names = {picture.name for picture in pictures}
    sections = [_scan(work)]
    sections += [_plane(work)] if "symmetry" in work.records else []
    sections += [seating_section(work)] if "seating" in work.records else []
    sections.append(_part(work))
    if "mould" in work.records:
        sections += [mould_section(work.records["mould"].figures), _pour(work)]
    return TravellerData(
        job_code=work.job.job.code,
        purpose=work.job.job.purpose,
        title="Mirrored part and its two-part mould" if "mould" in work.records else "Mirrored part",
        verdict=_verdict(work),
        sections=tuple(
            Section(
                title=section.title,
                lead=section.lead,
                figures=section.figures,
                pictures=tuple(name for name in section.pictures if name in names),
            )
            for section in sections
        ),
        checks=_checks(work),
        findings=work.findings,
        waivers=tuple(Waiver(code=f.code, message=f.message) for f in work.waived()),
        pictures=pictures,
        front_picture=next((name for name in ("exploded", "mirrored", "scan") if name in names), ""),
        files=tuple(files),
        steps=_steps(work),
        settings=_settings(work),
        versions=library_versions(),
        sources=tuple(MethodSource(method=f"{s.room}: {s.method}", reference=s.reference) for s in SOURCES),
        cautions=_cautions(work),
        scene=scene_of(work),
    )


def _settings(work: Work) -> dict[str, object]:
    """Return what the job stated, without names of files, and the results that a recheck starts from."""
    stated = {
        name: value
        for name, value in flat_settings(work.job).items()
        if name.rsplit(".", 1)[-1] not in _NAMES_OF_FILES and value not in (None, "", [])
    }
    if "mould" not in work.records:
        return stated
    figures = work.records["mould"].figures
    wanted = ("pull_direction", "pour_up", "hollows_volume_mm3", "outer_volume_mm3")
    found = {f"found.{name}": figures[name] for name in wanted}
    if "handover" in work.records:
        proof = work.records["handover"].figures
        found |= {f"found.{n}": proof[n] for n in ("halves_overlap_mm3", "release_interference_mm3")}
    return {**stated, **found, "found.casting": figures["settings"]["casting"]}


def _verdict(work: Work) -> Verdict:
    stops = work.stops()
    if stops:
        return Verdict(
            state=State.STOPPED,
            sentence="Do not use these files: a check does not hold.",
            reasons=tuple(finding.message for finding in stops),
        )
    graver = [f for f in work.findings if f.severity is not Severity.NOTE]
    if graver:
        return Verdict(
            state=State.CAUTIONS,
            sentence="Every check of the written files holds; read the cautions before you print.",
            reasons=tuple(finding.message for finding in graver),
        )
    return Verdict(state=State.READY, sentence="Every check of the written files holds.")


def _scan(work: Work) -> Section:
    scan, origin = work.records["condition"].figures["scan"], work.records["intake"].figures["scan"]
    return Section(
        title="Scan",
        lead=f"Read from {origin['format'].upper()}, lengths in {origin['units']}.",
        figures=(
            Figure(label="Triangles", value=scan["triangles"]),
            Figure(label="Closed surface", value=scan["solid"], evidence="every edge has two triangles"),
            Figure(label="Open edges", value=scan["open_edges"]),
            Figure(label="Self-intersections", value=scan["self_intersections"]),
            Figure(label="Point spacing", value=_two(scan["spacing_mm"]), unit="mm", evidence="median edge"),
            Figure(label="Noise", value=_two(scan["noise_mm"]), unit="mm", evidence="estimated, neighbours"),
            Figure(
                label="Stated accuracy",
                value=work.job.scan.accuracy_mm,
                unit="mm",
                evidence="by the requester",
            ),
        ),
        pictures=("scan",),
    )


def _two(value: float | None) -> float | None:
    """Return a value of unknown uncertainty with two significant digits."""
    return None if value is None else float(f"{value:.2g}")


def _plane(work: Work) -> Section:
    figures = work.records["symmetry"].figures
    if figures["status"] == "stated":
        return Section(title="Mirror plane", lead="Stated in the job.", pictures=("plane",))
    return Section(
        title="Mirror plane",
        lead=f"Found by search; the answer is {figures['status']}.",
        figures=(
            Figure(
                label="Direction",
                value=f"± {value_words(_two(figures['sd_deg']), unit='°')}",
                evidence="one standard deviation; the direction itself stands in traveller.json",
            ),
            Figure(
                label="Offset from the origin",
                value=figures["offset_mm"],
                unit="mm",
                uncertainty=figures["sd_mm"],
            ),
            Figure(
                label="Left-right difference",
                value=_two(figures["asymmetry_rms_mm"]),
                unit="mm",
                evidence="root mean square over the matched area",
                main=True,
            ),
            Figure(
                label="Skin that has a mirror image",
                value=round(100.0 * figures["matched_share"], 1),
                unit="%",
            ),
            Figure(label="Other planes found", value=len(figures["alternatives"]) - 1),
        ),
        pictures=("plane", "mirrored"),
    )


def _part(work: Work) -> Section:
    figures = work.records["measurement"].figures
    size = figures["size_mm"]
    accuracy = work.job.scan.accuracy_mm
    return Section(
        title="Part",
        lead="" if "seating" in work.records else cautions.STARTING_SHAPE,
        figures=(
            Figure(
                label="Volume",
                value=figures["volume_mm3"],
                unit="mm³",
                uncertainty=figures["volume_sd_mm3"],
                evidence="divergence theorem; uncertainty is accuracy × area",
                main=True,
            ),
            Figure(label="Area", value=figures["area_mm2"], unit="mm²"),
            Figure(
                label="Mass when cast",
                value=figures["mass_g"],
                unit="g",
                uncertainty=figures["mass_sd_g"],
                evidence="typical density of the material",
                main=True,
            ),
            Figure(
                label="Thinnest wall",
                value=figures["min_wall_mm"],
                unit="mm",
                uncertainty=accuracy,
                evidence="largest inner balls that touch the surface, at points "
                f"{figures['wall_spacing_mm']:.1g} mm apart",
                main=True,
            ),
            Figure(
                label="Least wall of the material",
                value=figures["least_wall_mm"],
                unit="mm",
                evidence="stated" if work.job.material.least_wall_mm else "common practice, no source",
            ),
            Figure(
                label="Surface with a thinner wall",
                value=None if figures["thin_share"] is None else round(100.0 * figures["thin_share"], 1),
                unit="%",
            ),
            *(
                Figure(label=f"Size along {axis}", value=value, unit="mm", uncertainty=accuracy)
                for axis, value in zip("xyz", size, strict=True)
            ),
        ),
        pictures=("walls",),
    )


def _pour(work: Work) -> Section:
    plan = work.records["pour"].figures
    parts = ", ".join(f"{name} {mass:g} g" for name, mass in plan["parts_by_mass"].items())
    holding, shrinkage = plan["holding"], plan["shrinkage"]
    return Section(
        title="Pour",
        lead=f"{plan['material'].capitalize()}. "
        + " ".join(f"Not known: {text}." for text in plan["not_known"]),
        figures=(
            Figure(label="Mix", value=parts, evidence="cavity, channels, cup residue and loss", main=True),
            _ranged("Mass to mix", plan["quantities"]["mass_range_g"], "g"),
            _ranged("Fill time", plan["fill_time_range_s"], "s", main=True),
            _ranged("Pot life", plan["pot_life_range_s"], "s"),
            _ranged("Lifting force on the upper half", holding["lifting_force_range_n"], "N"),
            Figure(
                label="Clamp load",
                value=_two(holding["clamp_load_n"]),
                unit="N",
                evidence=f"factor {holding['clamp_factor']:g}",
            ),
            *_flow(plan),
            *(
                Figure(
                    label=f"Size along {axis}: cavity → casting",
                    value=f"{a:.2f} → {b['typical']:.2f} mm",
                )
                for axis, a, b in zip(
                    "xyz", shrinkage["size_before_mm"], shrinkage["size_after_mm"], strict=True
                )
            ),
        ),
        pictures=("filling",),
    )


def _flow(plan: dict[str, Any]) -> tuple[Figure, ...]:
    """Return how the mix runs and presses, and the water of a gypsum mix."""
    filling, holding = plan["filling"], plan["holding"]
    flow, water = filling["flow"], plan["quantities"]["water_bound_g"]
    figures = (
        Figure(label="Flow in the sprue", value=flow["regime"], evidence=f"Re {flow['reynolds']:.2g}"),
        Figure(label="Largest air pocket left", value=filling["largest_pocket_left_mm3"], unit="mm³"),
        _ranged("Pressure at the bottom", holding["pressure_range_pa"], "Pa"),
        _ranged("Wall gives way by", holding["wall_deflection_range_mm"], "mm"),
    )
    bound = Figure(label="Water that gypsum binds", value=water, unit="g", evidence="18.6 g per 100 g")
    return figures if water is None else (*figures, bound)


def _ranged(label: str, span: dict[str, float] | None, unit: str, *, main: bool = False) -> Figure:
    if span is None:
        return Figure(label=label, value=None, unit=unit, main=main)
    spread = (span["low"], span["high"]) if span["high"] > span["low"] else None
    return Figure(label=label, value=span["typical"], unit=unit, interval=spread, main=main)


def _checks(work: Work) -> tuple[Check, ...]:
    if "handover" not in work.records:
        return seating_checks(work)
    proof = work.records["handover"].figures
    built = work.records["mould"].figures
    flexible = built["settings"]["casting"] == "flexible"
    checks = [
        Check(
            claim=f"{half['name']} is closed, manifold and in one piece",
            how="written as STL, read back, corners merged, certified again",
            measured=f"{half['welded_bad_edges']} bad edges, {half['pieces']} piece",
            limit="0 bad edges, 1 piece",
            holds=bool(half["solid"]) and half["welded_bad_edges"] == 0 and half["pieces"] == 1,
        )
        for half in proof["halves"]
    ]
    released = proof["release_interference_mm3"] <= proof["release_limit_mm3"]
    return (
        *seating_checks(work),
        *checks,
        *piece_checks(proof),
        Check(
            claim="The halves do not overlap when closed",
            how="boolean intersection of the halves read back",
            measured=value_words(_two(proof["halves_overlap_mm3"]), unit="mm³"),
            holds=all(finding["code"] != "halves-overlap" for finding in proof["findings"]),
        ),
        Check(
            claim="Halves, cavity, channels and hollows make up the outer body",
            how="volume identity, in memory",
            measured=parts_words(built["identity_error"], 12),
            limit=parts_words(IDENTITY_LIMIT, 12),
            holds=built["identity_error"] <= IDENTITY_LIMIT,
        ),
        Check(
            claim="The mould opens along its pull direction",
            how="each half moved in steps up to 64 mm, intersected with the casting",
            measured=value_words(_two(proof["release_interference_mm3"]), unit="mm³")
            + (", which a flexible casting gives way to" if flexible and not released else ""),
            limit=f"{proof['release_limit_mm3']:.3g} mm³ for a rigid casting",
            holds=released or flexible,
        ),
        Check(
            claim="No unvented air pocket is left",
            how="rising level in cavity and channels",
            measured=f"{unvented(built['air_pockets'])} unvented",
            limit=f"{built['settings']['least_pocket_mm3']:g} mm³ each",
            holds=all(finding.code != "air-pocket" for finding in work.findings),
        ),
    )


def _steps(work: Work) -> tuple[Step, ...]:
    if "pour" not in work.records:
        return (Step(text="Print the mirrored part.", caution=cautions.RESEARCH_ONLY),)
    mould, plan = work.records["mould"].figures, work.records["pour"].figures
    parts = ", ".join(f"{name} {mass:g} g" for name, mass in plan["parts_by_mass"].items())
    bolts = mould["settings"]["bolts"]
    return (
        *printing_steps(mould),
        Step(text="Clean the halves and close them once: the keys go home without force."),
        Step(
            text="Close the mould and fasten it.",
            numbers=f"{len(mould['bolts_mm'])} × {bolts}, {plan['holding']['clamp_load_n']:.2g} N in all",
        ),
        Step(text="Weigh and mix.", numbers=parts, caution=cautions.DATA_SHEET_FIRST),
        Step(text="Pour slowly into the cup, sprue up.", numbers=f"about {plan['fill_time_s']:g} s"),
        *(Step(text=step["action"]) for step in plan["demoulding"]),
        Step(text="Compare size and mass of the casting with this sheet."),
    )


def _cautions(work: Work) -> tuple[str, ...]:
    plan = work.records["pour"].figures["cautions"] if "pour" in work.records else []
    return tuple(dict.fromkeys([*cautions.ALL, *plan]))
