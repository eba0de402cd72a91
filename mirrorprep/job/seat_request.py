"""From the seating table of a job to what the seating is told."""

from pathlib import Path

from mirrorprep.errors import JobFileError
from mirrorprep.job.tables import Job, SeatingTable
from mirrorprep.seating.landmark_pairs import LandmarkPairs, pair_landmarks, read_sided_points
from mirrorprep.seating.loop import read_loop
from mirrorprep.seating.settings import DonorRegion, Retention, SeatSettings


def seat_settings(job: Job, folder: Path) -> SeatSettings:
    """Return the settings of the job's seating; a loop is read from its file in `folder`.

    Raises
    ------
    JobFileError
        If the way of selection lacks its entries.
    InputFileError
        If the loop file cannot be read.
    """
    table = job.seating
    return SeatSettings(
        region=_region(table, folder),
        mirrored=table.mirrored,
        grow_mm=table.grow_mm,
        ring_mm=table.ring_mm,
        most_shift_mm=table.most_shift_mm,
        most_turn_deg=table.most_turn_deg,
        edge_mm=table.edge_mm,
        edge_width_mm=table.edge_width_mm,
        floor_mm=table.floor_mm,
        gap_mm=table.gap_mm,
        close_hollows=table.close_hollows,
        direction=table.direction,
        retention=Retention(
            kind=table.retention,
            count=table.retention_count,
            diameter_mm=table.retention_diameter_mm,
            length_mm=table.retention_length_mm,
        ),
        tolerance_mm=job.job.tolerance_mm,
        accuracy_mm=job.scan.accuracy_mm,
    )


def joins_two_scans(job: Job) -> bool:
    """Tell whether landmarks join two scans, instead of a plane that mirrors one."""
    return job.seating.seat and bool(job.seating.donor_landmarks or job.seating.recipient_landmarks)


def landmark_pairs(job: Job, folder: Path) -> LandmarkPairs:
    """Return the landmarks that join the job's two scans.

    Raises
    ------
    JobFileError
        If one of the two files is not named.
    InputFileError, GeometryError
        If a file cannot be read, or they share fewer than three landmarks.
    """
    table = job.seating
    if not (table.donor_landmarks and table.recipient_landmarks):
        raise JobFileError(
            "Only one landmark file is named in [seating].",
            remedy="Name donor_landmarks and recipient_landmarks, or neither.",
        )
    donor = read_sided_points(folder / table.donor_landmarks)
    recipient = read_sided_points(folder / table.recipient_landmarks)
    return pair_landmarks(donor, recipient, mirrored=table.mirrored)


def _region(table: SeatingTable, folder: Path) -> DonorRegion:
    near = table.near
    if table.select == "plane":
        normal = _stated(table, "plane_normal")
        return DonorRegion(kind="plane", numbers=(*normal, table.plane_offset_mm), near_mm=near)
    if table.select == "box":
        return DonorRegion(
            kind="box", numbers=(*_stated(table, "box_low"), *_stated(table, "box_high")), near_mm=near
        )
    if table.select == "sphere":
        center = _stated(table, "sphere_center")
        return DonorRegion(kind="sphere", numbers=(*center, table.sphere_radius_mm), near_mm=near)
    if table.select == "loop":
        if not table.loop:
            raise JobFileError(
                "seating.select is 'loop', and seating.loop names no file.", remedy="Name the loop file."
            )
        return DonorRegion(kind="loop", loop_mm=read_loop(folder / table.loop), near_mm=near)
    return DonorRegion(near_mm=near)


def _stated(table: SeatingTable, name: str) -> tuple[float, float, float]:
    value: tuple[float, float, float] | None = getattr(table, name)
    if value is None:
        raise JobFileError(
            f"seating.select is '{table.select}', and seating.{name} is not stated.",
            remedy=f"State {name} as three numbers.",
        )
    return value
