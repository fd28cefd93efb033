"""`setupopt explore`: a page on this machine on which settings move and margins follow."""

from __future__ import annotations

import webbrowser
from contextlib import suppress

import click

from setupopt.cli import options
from setupopt.cli.waiting import Saying, loading, say_compiling
from setupopt.errors import UserError, printable


@click.command("explore")
@options.collected(
    options.project_argument, options.setup_option, options.quiet_option
)
@click.option(
    "--port", type=click.IntRange(0, 65535), default=0, metavar="N",
    help="Port on this machine; 0 takes a free one.",
)  # fmt: skip
@options.flag("--no-browser", "Print the address and open no browser.")
def command(common: options.Common, port: int, no_browser: bool) -> None:
    """A page on this machine: move any setting, angle, speed or wind of PROJECT and see margins, wheel loads,
    gaps and the car at once.

    The address opens once, in one browser, and from this machine alone. Nothing in PROJECT changes unless you
    save a setup under a new name. Stop with Ctrl-C.

    \b
    Example: setupopt explore my-car --setup proposed.toml
      the page, beginning from the proposed setup
    """
    with loading(common.quiet):
        project = common.load()

        from setupopt.explore.server import ExploreServer
        from setupopt.explore.session import Session

    session = Session(project)
    try:
        server = ExploreServer(session, port)
    except OSError as error:
        raise UserError(f"--port {port}: {error.strerror or error}") from None
    with server:
        say_compiling(common.quiet)
        with Saying(common.quiet, "cases of the sweep"):
            session.warm_up()
        click.echo(printable(common.setup_words(project)))
        click.echo(
            f"open once, from this machine: {server.address}\nstop with Ctrl-C"
        )
        if not no_browser and not webbrowser.open(server.address):
            click.echo("no browser could be opened: open the address yourself")
        with suppress(KeyboardInterrupt):
            server.serve_forever()
    session.job.stop()
    click.echo("stopped")
