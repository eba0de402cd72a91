"""The command line: one module per command."""

from mirrorprep.cli.main import main

__all__ = ["main"]
