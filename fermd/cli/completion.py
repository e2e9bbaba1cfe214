"""`fermd completion`: what makes a shell complete fermd's commands, options and names."""

from __future__ import annotations

import click

from fermd.cli.command import Command


@click.command(
    cls=Command,
    examples=[
        ('eval "$(fermd completion bash)"', "in ~/.bashrc"),
        ('eval "$(fermd completion zsh)"', "in ~/.zshrc"),
        ("fermd completion fish > ~/.config/fish/completions/fermd.fish", "once, for fish"),
    ],
)
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
def command(shell: str) -> None:
    """Print what makes a shell complete fermd's commands.

    Names of chambers come from the running daemon, names of profiles from their folders.
    """
    from click.shell_completion import get_completion_class

    from fermd.cli.catalogue import COMPLETION_VARIABLE, PROGRAM, fermd

    kind = get_completion_class(shell)
    if kind is None:
        raise click.UsageError(f"SHELL = {shell!r}: this version of click cannot do it.")
    completion = kind(fermd, {}, PROGRAM, COMPLETION_VARIABLE)
    # Not source(): it runs bash to learn its version, which may not be there.
    print(completion.source_template % completion.source_vars())
