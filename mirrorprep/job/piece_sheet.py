"""What the traveller says of halves that are printed in pieces."""

from typing import Any

from mirrorprep.handover.figure_text import parts_words, value_words
from mirrorprep.handover.traveller import Check, Step
from mirrorprep.job.mould_files import VOLUME_TOLERANCE


def piece_checks(proof: dict[str, Any]) -> tuple[Check, ...]:
    """Return the checks on the pieces of each divided half, from the proof of the files."""
    return tuple(check for pieces in proof.get("pieces", ()) for check in _of_half(pieces))


def _of_half(pieces: dict[str, Any]) -> tuple[Check, ...]:
    name, count = pieces["half"], len(pieces["pieces"])
    codes = {finding["code"] for finding in pieces["findings"]}
    return (
        Check(
            claim=f"The {count} pieces of {name} are closed solids that fit the bed",
            how="written as STL, read back, corners merged, certified again, laid down",
            measured=f"{sum(pieces['sound'])} closed, {sum(pieces['fits_bed'])} fit",
            limit=f"{count} of each",
            holds=all(pieces["sound"]) and all(pieces["fits_bed"]),
        ),
        Check(
            claim=f"The pieces of {name} do not overlap when joined",
            how="boolean intersections of the pieces read back",
            measured=value_words(float(f"{pieces['overlap_mm3']:.2g}"), unit="mm³"),
            holds="pieces-overlap" not in codes,
        ),
        Check(
            claim=f"The pieces of {name} and the clearance of their keys make it up",
            how="volume identity of the files read back",
            measured=parts_words(pieces["identity_error"], 6),
            limit=parts_words(VOLUME_TOLERANCE, 6),
            holds="pieces-identity" not in codes,
        ),
    )


def printing_steps(mould: dict[str, Any]) -> tuple[Step, ...]:
    """Return how the halves are printed, and joined where they come in pieces."""
    process = f"process {mould['settings']['process']}"
    divided = [half for half in mould["halves"] if half["pieces"]]
    if not divided:
        return (Step(text="Print both halves as they lie in mould.3mf.", numbers=process),)
    counts = ", ".join(f"{half['name']} in {len(half['pieces'])} pieces" for half in divided)
    return (
        Step(text="Print the bodies of mould.3mf one after the other, as they lie.", numbers=process),
        Step(text="Join the pieces of each half by their keys and glue them.", numbers=counts),
    )
