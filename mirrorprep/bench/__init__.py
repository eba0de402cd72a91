"""The bench: the whole job on a local page."""
