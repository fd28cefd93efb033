"""The command `setupopt`: which commands there are, and how a run ends.

Exit status: 0 done; 1 done, but a limit is broken or the margin is not what was asked for; 2 refused;
130 stopped by the user; 141 the reader of the output has gone.
"""

from __future__ import annotations

import gc
import os
import sys
from importlib import import_module
from typing import TYPE_CHECKING, Any

import click

from setupopt import __version__
from setupopt.errors import UserError, printable

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem

REFUSED, STOPPED, UNREAD = 2, 130, 141

# name: (module whose `command` it is, help text). The modules are imported on use: solvers and compilers
# take a second to load, and asking for help must not wait for them.
COMMANDS = {
    "start": ("setupopt.cli.start", "Copy a ready example to edit."),
    "fit": (
        "setupopt.cli.fit",
        "Tyre and air parameters from measurements, with errors.",
    ),
    "assess": (
        "setupopt.cli.assess",
        "Grip margin by roll angle and attitude, and the worst case.",
    ),
    "propose": (
        "setupopt.cli.propose",
        "The setup with the highest worst margin.",
    ),
    "compare": (
        "setupopt.cli.compare",
        "Rank bodies and setups by worst margin, and why each loses.",
    ),
    "prove": (
        "setupopt.cli.prove",
        "How much bump, wind, road and build error a setup withstands.",
    ),
    "speeds": (
        "setupopt.cli.speeds",
        "Safe speeds, the run-up, the time left after a loss of drive.",
    ),
    "route": (
        "setupopt.cli.route",
        "The way up the section and back: heading, speed, margin, length.",
    ),
    "explore": (
        "setupopt.cli.explore",
        "A page on this machine: move a setting, see the margin change.",
    ),
    "learn": (
        "setupopt.cli.learn",
        "Compare logs with the model, correct the car, find the next run.",
    ),
    "report": (
        "setupopt.cli.report",
        "All results on one page, for screen and paper, drawn to scale.",
    ),
    "sheet": (
        "setupopt.cli.sheet",
        "Setup sheets for the mechanics, change list and run card.",
    ),
    "readback": (
        "setupopt.cli.readback",
        "Margin of the car as it was built, and its corrections.",
    ),
    "completion": (
        "setupopt.cli.completion",
        "Complete commands, options and files with the tab key.",
    ),
}


class LazyGroup(click.Group):
    """A group that imports a command when it is called, and turns what ends a run into an exit status."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """In the order of use."""
        return list(COMMANDS)

    def get_command(
        self, ctx: click.Context, cmd_name: str
    ) -> click.Command | None:
        """Import the command; None for an unknown name."""
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = import_module(COMMANDS[cmd_name][0]).command
        return command

    def format_commands(
        self, ctx: click.Context, formatter: click.HelpFormatter
    ) -> None:
        """The help texts of the table, without importing anything."""
        with formatter.section("Commands"):
            formatter.write_dl(
                [(name, text) for name, (_, text) in COMMANDS.items()]
            )

    def shell_complete(
        self, ctx: click.Context, incomplete: str
    ) -> list[CompletionItem]:
        """Options, or commands with the help texts of the table, again without an import."""
        if incomplete.startswith("-"):
            return super().shell_complete(ctx, incomplete)
        from click.shell_completion import CompletionItem

        return [
            CompletionItem(n, help=text)
            for n, (_, text) in COMMANDS.items()
            if n.startswith(incomplete)
        ]

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; what ends it early becomes a message and an exit status."""
        try:
            return super().invoke(ctx)
        except click.UsageError as misused:
            raise click.UsageError(
                printable(misused.format_message()), misused.ctx
            ) from None
        except UserError as refused:
            click.echo(printable(str(refused)), err=True)
            ctx.exit(REFUSED)
        except KeyboardInterrupt as stop:
            click.echo(
                "; ".join(["stopped", str(stop) or "nothing was written"]),
                err=True,
            )
            ctx.exit(STOPPED)
        except OSError as error:
            ctx.exit(_after_os_error(error))


def _after_os_error(error: OSError) -> int:
    """The exit status after an error of a disk or a pipe that was not expected."""
    if isinstance(error, BrokenPipeError):
        _silence(sys.stdout)
        return UNREAD
    click.echo(
        printable(f"{error.filename or 'output'}: {error.strerror or error}"),
        err=True,
    )
    _silence(sys.stdout)
    return REFUSED


def _silence(stream: Any) -> None:
    """Drop what is still in the stream; Python would report it when it ends."""
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
    except (OSError, ValueError, AttributeError):  # no real file behind it
        return


@click.group(
    cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]}
)
@click.version_option(
    __version__, prog_name="setupopt", message="%(prog)s %(version)s"
)
@click.pass_context
def group(ctx: click.Context) -> None:
    """Setups for high-downforce cars on curved, banked and flat surfaces.

    A project is a folder with car.toml, venue.toml, setup.toml and limits.toml. Answers are a model's: no
    clearance to drive.

    \b
    Example: setupopt start my-car && setupopt assess my-car
      a ready example to edit, and its grip margin
    """
    # Colours only where they are wanted and can be shown; None leaves it to the terminal
    plain = bool(os.environ.get("NO_COLOR")) or os.environ.get("TERM") == "dumb"
    ctx.color = False if plain else None


def main() -> None:
    """Entry point of the installed command."""
    # What is imported stays: looking through it again and again would take a tenth of a start
    gc.set_threshold(100_000)
    if (
        sys.stdout is None
    ):  # a file opened next would take its place, and be printed into
        click.echo(
            "standard output is closed; > /dev/null leaves it open and shows nothing",
            err=True,
        )
        sys.exit(REFUSED)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(
            stream, "reconfigure"
        ):  # names may hold letters that the terminal has not
            stream.reconfigure(errors="backslashreplace")
    try:
        try:
            group(prog_name="setupopt")
        finally:
            sys.stdout.flush()
    except OSError as error:
        sys.exit(_after_os_error(error))
