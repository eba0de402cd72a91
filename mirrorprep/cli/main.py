"""Entry point of the command line: registers the commands and turns errors into exit codes."""

import os
import sys
from importlib import import_module
from typing import Final

import typer

from mirrorprep import cautions
from mirrorprep.errors import MirrorPrepError

COMMANDS: Final = (
    "demo", "run", "batch", "new", "check", "mend", "plane", "mirror", "seat", "compare", "measure", "mould",
    "pour", "bench", "verify-handover", "look", "cite", "schema",
)  # fmt: skip

_EPILOG: Final = " ".join(cautions.ALL)


def build_app() -> typer.Typer:
    """Return the command line with every command registered; none of them loads a heavy library yet."""
    app = typer.Typer(
        name="mirrorprep",
        add_completion=False,
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["-h", "--help"]},
        help=f"From a 3D scan to a mirrored solid and a verified two-part mould.\n\n{cautions.RESEARCH_ONLY}",
        epilog=_EPILOG,
    )
    for name in COMMANDS:
        place = name.replace("-", "_")
        module = import_module(f"mirrorprep.cli.{place}")
        app.command(name, epilog=cautions.RESEARCH_ONLY)(getattr(module, place))
    app.callback(invoke_without_command=True)(_options)
    return app


def _options(
    ctx: typer.Context,
    version: bool = typer.Option(False, "--version", help="Show the version and stop.", is_eager=True),
) -> None:
    if version:
        from mirrorprep import __version__

        typer.echo(f"mirrorprep {__version__}")
        raise typer.Exit
    if ctx.invoked_subcommand is None:
        typer.echo(ctx.get_help())
    elif not {"-h", "--help"} & set(sys.argv[1:]):
        typer.echo(cautions.RESEARCH_ONLY, err=True)


def main() -> None:
    """Run the command line; every mirrorprep error becomes one sentence and the exit code of its kind."""
    sys.exit(run(build_app()))


def run(app: typer.Typer) -> int:
    """Run `app` on the process arguments and return its exit code."""
    try:
        app()
    except MirrorPrepError as error:
        typer.echo(f"mirrorprep: {error}", err=True)
        return error.exit_code
    except SystemExit as stop:
        return stop.code if isinstance(stop.code, int) else 0
    except KeyboardInterrupt:
        typer.echo("mirrorprep: Cancelled. Files that were finished before stay.", err=True)
        return 130
    except Exception as error:
        if os.environ.get("MIRRORPREP_TRACE"):
            raise
        typer.echo(
            f"mirrorprep: This is a bug ({type(error).__name__}: {error}). "
            "Set MIRRORPREP_TRACE=1 to see where, and report it without any scan of a person.",
            err=True,
        )
        return 1
    return 0
