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

DATA_SHEET_FIRST: Final = (
    "Read the safety data sheet and the technical data sheet of your material first; local codes and "
    "licensed practice come before anything said here."
)

CURE_INHIBITION: Final = (
    "Addition-cure silicone does not cure against sulphur (some clays, latex gloves), tin (condensation "
    "silicone), amines (epoxy hardeners) or residues of printing resin: wash, post-cure, seal, and try a "
    "test patch."
)

TIN_CATALYST: Final = (
    "Condensation-cure silicone holds a tin catalyst; dibutyltin compounds are classed as harmful to "
    "reproduction and organs: gloves, ventilation, no skin contact."
)

HOT_WAX: Final = (
    "Molten wax burns skin and catches fire: melt it in a water bath, never over a flame, never leave it."
)

UNCURED_ACRYLATE: Final = (
    "Uncured acrylate is a skin sensitiser and its vapour is flammable: nitrile gloves, eye protection, "
    "ventilation, no source of ignition."
)

ISOCYANATE: Final = (
    "Isocyanates sensitise skin and lungs and can cause asthma: gloves, eye protection, extraction; in the "
    "European Union professional use asks for training (REACH Annex XVII, entry 74)."
)

EPOXY_HARDENER: Final = (
    "Epoxy resins and amine hardeners irritate and sensitise: gloves, eye protection, ventilation; large "
    "pours get hot."
)

PLASTER: Final = (
    "Plaster heats as it sets: never enclose a hand or any body part in it; do not breathe the dust."
)

CLAMP_FIRST: Final = (
    "A poured liquid pushes the halves apart: fasten them with the stated load before pouring, tighten "
    "evenly, keep fingers out of the parting."
)

PRY_AWAY: Final = "Pry away from yourself and from the cavity; wear eye protection when you open and trim."

NO_SKIN_CONTACT: Final = "No skin contact with any part made here."
