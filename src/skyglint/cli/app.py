"""The program's entry: finds the command's module, runs it, and turns errors into messages and exit statuses."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Sequence

import typer

from skyglint import __version__
from skyglint.errors import SkyglintError

#: Command, and the module of this room whose function ``run`` it is. Only the module that is asked for is imported,
#: so that a small command starts quickly on a small computer.
COMMANDS: dict[str, str] = {
    "demo": "demo",
    "plan": "plan",
    "aim": "aim",
    "check": "check",
    "watch": "watch",
    "scan": "scan",
    "report": "report",
    "rates": "rates",
    "showers": "showers",
    "elements": "elements",
    "passes": "passes",
    "follow": "follow",
    "horizon": "horizon",
    "export": "export",
    "simulate": "simulate",
    "replay": "replay",
    "bench": "bench",
}


def build(names: Sequence[str]) -> typer.Typer:
    """Return the program with the named commands."""
    app = typer.Typer(
        name="skyglint",
        help="Catch meteors by radio from home: plan, record, find, measure and count every echo.",
        no_args_is_help=True,
        add_completion=False,
        rich_markup_mode="markdown",
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["-h", "--help"]},
    )

    @app.callback(invoke_without_command=True)
    def _root(version: bool = typer.Option(False, "--version", help="Print the version and stop.")) -> None:
        if version:
            typer.echo(f"skyglint {__version__}")
            raise typer.Exit

    for name in names:
        module = importlib.import_module(f"skyglint.cli.{COMMANDS[name]}")
        app.command(name)(module.run)
    return app


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the program on the arguments (default: the process's own) and return its exit status."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    named = next((word for word in given if not word.startswith("-")), None)
    command = typer.main.get_command(build([named] if named in COMMANDS else list(COMMANDS)))
    try:
        command.main(args=given, prog_name="skyglint")
    except SystemExit as stop:
        return stop.code if isinstance(stop.code, int) else 1
    except SkyglintError as error:
        for line in str(error).splitlines():
            typer.echo(line, err=True)
        return error.exit_status
    return 0
