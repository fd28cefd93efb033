"""`setupopt completion`: what a shell must know to complete commands, options, examples and files."""

from __future__ import annotations

import click
from click.shell_completion import get_completion_class


@click.command("completion")
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
@click.pass_context
def command(ctx: click.Context, shell: str) -> None:
    """Print the lines that let the tab key complete commands, options, examples and files.

    To have it always, put the line of the example, for zsh with zsh, at the end of ~/.bashrc or ~/.zshrc. For
    fish: setupopt completion fish > ~/.config/fish/completions/setupopt.fish

    \b
    Example: eval "$(setupopt completion bash)"
      switches it on in the shell that is open
    """
    kind = get_completion_class(shell)
    assert kind is not None  # all of the choice are click's own
    click.echo(
        kind(
            ctx.find_root().command, {}, "setupopt", "_SETUPOPT_COMPLETE"
        ).source()
    )
