"""The command line: one small module per command, imported only when that command runs."""

from __future__ import annotations

import contextlib
import importlib
import io
import os
import sys
import warnings
from pathlib import Path
from typing import Any

import click

from pitchcam.errors import PitchcamError, one_line, printable

#: Environment variable that shows the traceback of an unexpected failure.
TRACE = "PITCHCAM_TRACE"

#: command -> (module under pitchcam.cli that has ``command``, line shown by --help)
COMMANDS = {
    "identify": ("identify", "Name the thread in a photo."),
    "check": ("check", "Compare a photo with what a pitch gauge said."),
    "lookup": ("lookup", "Name a thread from caliper and gauge readings."),
    "series": ("series", "List the standard series, or show one designation in full."),
    "chart": ("chart", "Print the workshop's tapping chart."),
    "sheet": ("sheet", "Draw the marker sheet that gives scale and camera pose."),
    "calibrate": ("calibrate", "Make a camera profile from photos of the sheet."),
    "mate": ("mate", "Say whether a male thread seals in a female one, and how."),
    "stock": ("stock", "Keep the shop's stock of fittings."),
    "adapt": ("adapt", "Find what joins a part to a port, from stock."),
    "join": ("join", "Work sheet for an adapter made from two donors."),
    "job": ("job", "The whole way on one page: names in, join out."),
    "batch": ("batch", "Measure many photos, safely stopped and resumed."),
    "log": ("log", "Show, correct and export the record."),
    "serve": ("serve", "Serve the page at the bench, to this computer or to phones."),
}


class LazyGroup(click.Group):
    """A group that imports a command's module only when it is called; help needs none of them."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands in the order of the job."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return one command, or None for a name that does not exist."""
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"pitchcam.cli.{COMMANDS[cmd_name][0]}")
        command: click.Command = module.command
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command; a photo in its place is told what is missing."""
        if args[0] not in COMMANDS and Path(args[0]).is_file():
            ctx.fail(f"Say what to do with {args[0]}, such as: pitchcam identify {args[0]} --card.")
        return super().resolve_command(ctx, args)

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command; what the operating system refuses becomes one line as well."""
        try:
            return super().invoke(ctx)
        except BrokenPipeError:
            raise
        except OSError as error:
            if error.filename is None:  # of an open stream, as stdout
                raise
            what = f"{error.filename}: "
            raise PitchcamError(
                f"{what}{error.strerror or error};", "check the name, the disk and the rights"
            ) from error

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])


def _version(ctx: click.Context, _: click.Parameter, asked: bool) -> None:
    """Print the versions and end."""
    if asked and not ctx.resilient_parsing:
        from pitchcam.version import versions

        (program, number), *libraries = versions().items()
        click.echo(f"{program} {number}")
        for name, version in libraries:
            click.echo(f"  {name} {version}")
        ctx.exit()


@click.group(cls=LazyGroup)
@click.option(
    "--version",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_version,
    help="Show the version, and those of the libraries.",
)
def cli() -> None:
    """Name an unmarked screw thread from a backlit phone photo, and find what joins it."""


def main() -> None:
    """Run the command line; every failure is one line on stderr and an exit code."""
    sys.exit(run())


def run() -> int:
    """Run the command line and return its exit code."""
    if not os.environ.get(TRACE):
        # A library's remark on one photo is nothing for the terminal.
        warnings.simplefilter("ignore")
    for stream in (sys.stdout, sys.stderr):
        # A terminal without the plus-minus sign still gets its answer.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    try:
        # Without click's own handling, ctx.exit(code) comes back as the return value.
        code = cli.main(prog_name="pitchcam", standalone_mode=False)
        if sys.stdout is not None:
            sys.stdout.flush()
    except click.ClickException as error:
        _show(error)
        return error.exit_code
    except (click.Abort, KeyboardInterrupt):
        click.echo("stopped", err=True)
        return 1
    except PitchcamError as error:
        click.echo(f"pitchcam: {error}", err=True)
        return error.exit_code
    except BrokenPipeError:
        _give_up_stdout()  # the reader went away
        return 1
    except OSError as error:
        _give_up_stdout()
        click.echo(
            f"pitchcam: the answer cannot be written ({error.strerror or error}); "
            "free some space, or send it elsewhere",
            err=True,
        )
        return 1
    except Exception as error:
        if os.environ.get(TRACE):
            raise
        kind = type(error).__name__
        click.echo(
            f"pitchcam: failed unexpectedly ({kind}: {_one_line(error)}); "
            f"set {TRACE}=1 to see where",
            err=True,
        )
        return 1
    return code if isinstance(code, int) else 0


def _show(error: click.ClickException) -> None:
    """Say what is wrong with the call in the same form as every other error."""
    asks_for_help = getattr(click.exceptions, "NoArgsIsHelpError", ())
    if asks_for_help and isinstance(error, asks_for_help):
        error.show()
        return
    context = error.ctx if isinstance(error, click.UsageError) else None
    where = "pitchcam" if context is None else context.command_path
    text = one_line(_one_line_of(error.format_message()), f"See: {where} --help")
    click.echo(f"pitchcam: {text}", err=True)


def _one_line_of(text: str) -> str:
    return printable(" ".join(text.split()))


def _one_line(error: Exception) -> str:
    return _one_line_of(str(error))


def _give_up_stdout() -> None:
    """Send what is left for stdout nowhere, so that Python does not complain at its exit."""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
