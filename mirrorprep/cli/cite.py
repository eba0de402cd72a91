"""The command ``cite``."""

from mirrorprep.cli.console import Json, show


def cite(json: Json = False) -> None:
    """List the sources of the methods."""
    from dataclasses import asdict

    from mirrorprep.sources import SOURCES

    lines = ((source.room, f"{source.method}\n             {source.reference}") for source in SOURCES)
    show({"sources": [asdict(source) for source in SOURCES]}, lines, as_json=json)
