"""What the traveller says of the mould."""

from typing import Any, Final

from mirrorprep.handover.traveller import Figure, Section

_PARTINGS: Final = {"plane": "a plane", "contour": "along the part's contour"}


def mould_section(figures: dict[str, Any]) -> Section:
    """Return the traveller's section on a mould, from the figures of its record."""
    return Section(
        title="Mould",
        lead=str(figures["verdict"]),
        figures=(*_parting(figures), *_body(figures), *_furniture(figures), *_printing(figures)),
        pictures=("exploded", "backs", "cutaway", "parting", "landscape", "undercut", "draft"),
    )


def unvented(pockets: list[dict[str, Any]]) -> int:
    """Return how many air pockets have no vent."""
    return sum(not pocket["vented"] for pocket in pockets)


def _two(value: float) -> float:
    """Return a value of unknown uncertainty with two significant digits."""
    return float(f"{value:.2g}")


def _parting(figures: dict[str, Any]) -> tuple[Figure, ...]:
    verdicts = figures["verdicts"]
    x, y, z = figures["pull_direction"]
    return (
        Figure(label="Pull direction", value=f"{x:.3f}, {y:.3f}, {z:.3f}"),
        Figure(label="Parting surface", value=_PARTINGS[figures["parting"]]),
        Figure(label="Trapped by rigid halves", value=_two(figures["trapped_mm3"]), unit="mm³"),
        Figure(label="Deepest undercut", value=_two(figures["max_undercut_mm"]), unit="mm", main=True),
        *(
            Figure(label=f"A {kind} casting", value="comes out" if found["releases"] else "is locked")
            for kind, found in verdicts.items()
        ),
        Figure(
            label="Strain of a flexible casting",
            value=_two(100.0 * figures["undercut"]["strain"]),
            unit="%",
            evidence=f"snap-joint rule; {100.0 * figures['settings']['safe_strain']:.0f} % is trusted",
        ),
        Figure(
            label="Surface that turns away from its pull",
            value=round(100.0 * figures["draft"]["negative_share"], 1),
            unit="%",
            evidence="facets; the trapped volume decides",
        ),
    )


def _body(figures: dict[str, Any]) -> tuple[Figure, ...]:
    error = figures["wall_error_mm"]
    wall = figures["settings"]["wall_mm"]
    measured = () if error is None else (_shell_wall(wall, error),)
    return (
        *measured,
        Figure(
            label="Thinnest wall of the mould",
            value=round(figures["least_wall_mm"], 1),
            unit="mm",
            evidence="gaps between cavity, channels, bores, sockets and the outside",
        ),
        *(
            Figure(label=f"Material of {half['name']}", value=half["volume_mm3"] / 1000.0, unit="cm³")
            for half in figures["halves"]
        ),
        Figure(
            label="Tilt at which it falls",
            value=max(_two(figures["standing"]["tip_deg"]), 0.0),
            unit="°",
            evidence="empty or full, whichever is less",
        ),
    )


def _shell_wall(wall_mm: float, error: list[float]) -> Figure:
    return Figure(
        label="Wall of the shell",
        value=wall_mm,
        unit="mm",
        interval=(round(wall_mm + error[0], 1), round(wall_mm + error[1], 1)),
        evidence=f"measured over its outside, {error[2]:.1g} mm rms",
    )


def _furniture(figures: dict[str, Any]) -> tuple[Figure, ...]:
    bolts, length = figures["bolts_mm"], figures["screw_length_mm"]
    screws = f", {length:g} mm long" if length else ""
    return (
        Figure(label="Register keys", value=len(figures["keys_mm"])),
        Figure(label="Clamp bolts", value=f"{len(bolts)} × {figures['settings']['bolts']}{screws}"),
        Figure(label="Slots for a lever", value=figures["slots"]),
        Figure(label="Air pockets without a vent", value=unvented(figures["air_pockets"])),
    )


def _printing(figures: dict[str, Any]) -> tuple[Figure, ...]:
    return tuple(
        Figure(
            label=f"Overhang of {name}",
            value=_two(100.0 * printing["overhang_share"]),
            unit="%",
            evidence=f"of its surface, over 45°; {printing['bed_contact_mm2'] / 100.0:.2g} cm² on the bed",
        )
        for half in figures["halves"]
        for name, printing in _printed(half)
    )


def _printed(half: dict[str, Any]) -> list[tuple[str, dict[str, Any]]]:
    if not half["pieces"]:
        return [(half["name"], half["printing"])]
    return list(zip(half["pieces"], half["pieces_printing"], strict=True))
