"""What stands on the traveller about the seating, and its pictures."""

from typing import Any

import numpy as np

from mirrorprep import cautions
from mirrorprep.handover.figure_text import value_words
from mirrorprep.handover.mould_pictures import picture_undercut
from mirrorprep.handover.seating_pictures import picture_fit, picture_seated
from mirrorprep.handover.traveller import Check, Figure, Picture, Section
from mirrorprep.job.stages import Work
from mirrorprep.seating.fit_report import BACK_ERROR_MM, back_words
from mirrorprep.solid.plane import Plane


def seating_section(work: Work) -> Section:
    """Return what the traveller says of the seating."""
    figures = work.records["seating"].figures
    moved, back, undercut = figures["moved"], figures["back"], figures["undercut"]
    healthy, settings = figures["deviation"]["healthy"], figures["settings"]
    facts = " ".join(f"{fact['text']} ({fact['reference']})" for fact in figures["natural_asymmetry"])
    return Section(
        title="Seating",
        lead=f"{cautions.STARTING_SHAPE} {facts}",
        figures=(
            Figure(label="Placed by", value=_placed(figures["landmarks"])),
            *_landmark_figures(figures["landmarks"]),
            Figure(
                label="Moved to settle on the skin",
                value=_movement(moved),
                evidence=f"robust registration of a {settings['ring_mm']:g} mm ring, in "
                f"{moved['freedoms']} of 6 freedoms, else as by the {_placed(figures['landmarks'])}; "
                f"limits {settings['most_shift_mm']:g} mm, {settings['most_turn_deg']:g}°",
            ),
            Figure(
                label="Ring of skin against the recipient",
                value=_two(moved["ring_rms_mm"]),
                unit="mm",
                evidence="root mean square, robustly weighted",
            ),
            *_deviation_figures(healthy),
            Figure(
                label="Back of the part",
                value=back_words(back["largest_error_mm"], back["gap_mm"]),
                evidence=f"largest error over {back['area_mm2']:.0f} mm², at vertices and triangle centres",
            ),
            Figure(
                label="Margin",
                value=f"{settings['edge_mm']:g} mm thick at the rim, over {settings['edge_width_mm']:g} mm",
                evidence=f"elsewhere at least {settings['floor_mm']:g} mm over the skin",
            ),
            *_retention_figures(settings["retention"]),
            Figure(
                label="Skin in the way when taken straight off", value=_two(undercut["largest_mm"]), unit="mm"
            ),
        ),
        pictures=("seated", "fit", "seat-undercut"),
    )


def _two(value: float | None) -> float | None:
    return None if value is None else float(f"{value:.2g}")


def _movement(moved: dict[str, Any]) -> str:
    shift, turn = (value_words(_two(moved[n]), unit=u) for n, u in (("shift_mm", "mm"), ("turn_deg", "°")))
    return f"{shift}, {turn}"


def _landmark_figures(landmarks: dict[str, Any] | None) -> tuple[Figure, ...]:
    if landmarks is None:
        return ()
    return (
        Figure(
            label="Landmarks miss their partners by",
            value=_two(landmarks["rms_mm"]),
            unit="mm",
            evidence=f"root mean square of {len(landmarks['residual_mm'])} pairs: "
            + ", ".join(f"{name} {miss:.2g}" for name, miss in landmarks["residual_mm"].items()),
        ),
    )


def _placed(landmarks: dict[str, Any] | None) -> str:
    return "mirror plane" if landmarks is None else "placement by landmarks"


def _retention_figures(retention: dict[str, Any]) -> tuple[Figure, ...]:
    if retention["kind"] == "none":
        return ()
    size = f"{retention['diameter_mm']:g} × {retention['length_mm']:g} mm"
    return (
        Figure(label=f"Asked for on the back: {retention['kind']}", value=f"{retention['count']} of {size}"),
    )


def _deviation_figures(healthy: dict[str, Any]) -> tuple[Figure, ...]:
    accuracy = healthy["accuracy_mm"]
    beside = "scan accuracy not stated" if accuracy is None else f"scan accuracy {accuracy:g} mm"
    figures = [
        Figure(
            label="Healthy side, mirrored, against the recipient side",
            value=_two(healthy["rms_mm"]),
            unit="mm",
            evidence=f"root mean square around the part; {beside}",
            main=True,
        ),
        Figure(label="95 % of that lies within", value=_two(healthy["p95_mm"]), unit="mm"),
    ]
    if healthy["within_share"] is not None:
        figures.append(
            Figure(
                label=f"Share within the tolerance of {healthy['tolerance_mm']:g} mm",
                value=round(100.0 * healthy["within_share"], 1),
                unit="%",
            )
        )
    return tuple(figures)


def seating_checks(work: Work) -> tuple[Check, ...]:
    """Return the checks of the seating; none when the job seats nothing."""
    if "seating" not in work.records:
        return ()
    figures = work.records["seating"].figures
    moved, settings = figures["moved"], figures["settings"]
    error = figures["back"]["largest_error_mm"]
    return (
        Check(
            claim="The back of the part follows the recipient's skin",
            how="signed distance of its vertices and triangle centres from the skin",
            measured=back_words(error, figures["back"]["gap_mm"]),
            limit=f"{BACK_ERROR_MM:g} mm",
            holds=error <= BACK_ERROR_MM,
        ),
        Check(
            claim="Settling moved the part within the limits of the job",
            how="robust registration of the ring of skin around it",
            measured=_movement(moved),
            limit=f"{settings['most_shift_mm']:g} mm, {settings['most_turn_deg']:g}°",
            holds=moved["shift_mm"] <= settings["most_shift_mm"]
            and moved["turn_deg"] <= settings["most_turn_deg"],
        ),
    )


def draw_seated(work: Work, plane: Plane | None) -> Picture:
    """Draw the part on the skin from four sides."""
    figures = work.records["seating"].figures
    return Picture(
        name="seated",
        png=picture_seated(
            work.mirrored,
            work.solid("condition", _recipient(work)),
            figures["back"]["direction"],
            plane=plane,
        ),
        caption="The part on the recipient's skin, and its back.",
        description="Four views: from outside, from both sides, and from the skin.",
    )


def draw_fit(work: Work, plane: Plane | None) -> Picture:
    """Draw how the healthy side, mirrored, differs from the recipient side."""
    record = work.records["seating"]
    turn = np.array(record.figures["matrix"])[:3, :3]
    return Picture(
        name="fit",
        png=picture_fit(
            work.solid("condition", "scan"),
            record.arrays["healthy_mm"],
            turn.T @ np.array(record.figures["back"]["direction"]),
            tolerance_mm=work.job.job.tolerance_mm,
            plane=plane,
        ),
        caption="The skin around the healthy part, by how far its mirror image is off the recipient side.",
        description="The donor side coloured by its signed distance from the recipient once mirrored.",
    )


def draw_seat_undercut(work: Work) -> Picture:
    """Draw where skin is in the way of taking the part off."""
    record, part = work.records["seating"], work.mirrored
    depth = record.arrays["undercut_mm"][part.mesh.faces].max(axis=1)
    return Picture(
        name="seat-undercut",
        png=picture_undercut(part, depth, record.figures["undercut"]["direction"]),
        caption="Where the recipient's skin is in the way when the part is taken straight off.",
        description="The part coloured by the length of skin above it, along the seating direction.",
    )


def _recipient(work: Work) -> str:
    return "recipient" if work.job.seating.recipient else "scan"
