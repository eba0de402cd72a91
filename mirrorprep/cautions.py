"""The only copy of the safety wording; command line, traveller and files all take it from here."""

from typing import Final

RESEARCH_ONLY: Final = (
    "For research, teaching and demonstration only. "
    "Clinical use falls to licensed practitioners and regulatory approval."
)

BIOCOMPATIBILITY: Final = (
    "A biocompatible raw material does not make a biocompatible part: mould residue, release agent, "
    "pigment and under-cure all count."
)

PERSONAL_DATA: Final = (
    "Scans of people are sensitive personal data: they stay on this machine, and names never enter a file."
)

STARTING_SHAPE: Final = "A mirrored ear is a starting shape, not a copy of the lost one."

ALL: Final = (RESEARCH_ONLY, BIOCOMPATIBILITY, PERSONAL_DATA)
