"""The command ``look``."""

from mirrorprep.cli.console import ScanFile, Units, read


def look(scan: ScanFile, units: Units = None) -> None:
    """Open a plain window on one mesh: drag to turn, wheel to zoom, q to close."""
    from mirrorprep.handover.look import look as open_window

    open_window(read(scan, units))
