"""The command line. Thin: it parses, calls the library and prints. No agronomy lives here."""

from __future__ import annotations

import os
import sys
from importlib import import_module

import click

from fertadjust import __version__

_HOMES = {
    "new": "setup",
    "check": "setup",
    "bands": "bands",
    "rules": "rules",
    "stages": "stages",
    "results": "results",
    "log": "log",
    "advise": "advise",
    "amounts": "advise",
    "mix-sheet": "feeding",
    "minutes": "feeding",
    "calendar": "feeding",
    "purchase": "feeding",
    "blend": "blend",
    "materials": "materials",
    "credits": "feeding",
    "decide": "decide",
    "decisions": "decide",
    "history": "history",
    "review": "review",
    "chart": "pages",
    "report": "pages",
    "summary": "overview",
    "plan": "records",
    "audit": "records",
    "backup": "records",
    "restore": "records",
    "export": "records",
    "import": "records",
    "simulate": "simulate",
    "study": "study",
    "demo": "demo",
}
"""Command -> module of this package, in the order of a season's work."""


class _Commands(click.Group):
    """Loads a command's module when it is named, and turns the project's errors into messages."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        del ctx
        return list(_HOMES)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        del ctx
        if cmd_name not in _HOMES:
            return None
        name = "import_" if cmd_name == "import" else cmd_name.replace("-", "_")
        command = getattr(import_module(f"fertadjust.cli.{_HOMES[cmd_name]}"), name)
        assert isinstance(command, click.Command)
        return command

    def invoke(self, ctx: click.Context) -> object:
        from fertadjust.errors import FertadjustError, UserError

        try:
            return super().invoke(ctx)
        except UserError as error:
            for fault in error.faults:
                click.echo(f"Error: {fault}", err=True)
            ctx.exit(2)
        except UnicodeEncodeError:
            click.echo("Error: the text given holds characters that are not UTF-8; type it again", err=True)
            ctx.exit(2)
        except (click.ClickException, click.exceptions.Exit, click.Abort, BrokenPipeError):
            raise
        except FertadjustError as error:
            click.echo(f"Error: {error}", err=True)
            ctx.exit(1)
        except Exception as error:
            if os.environ.get("FERTADJUST_DEBUG"):
                raise
            click.echo(
                f"Error: the program failed, and that is not your mistake: {type(error).__name__}: {error}\n"
                "Nothing more was written. With FERTADJUST_DEBUG=1 set it shows where.",
                err=True,
            )
            ctx.exit(1)


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80})
@click.version_option(__version__, prog_name="fertadjust")
def cli() -> None:
    """Turn petiole and leaf nitrate results into the coming weeks' nitrogen.

    A season lives in a folder: season.toml (the plan, yours to edit) and records.db (what was measured, seen,
    applied and decided; only ever added to).

    \b
    Try it on an invented farm:      fertadjust demo
    Begin your own season:           fertadjust new my-season
    Enter a result:                  fertadjust results add
    Ask what to do:                  fertadjust advise
    """


def main() -> None:
    """Entry point of the ``fertadjust`` command."""
    try:
        cli()
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(0)
