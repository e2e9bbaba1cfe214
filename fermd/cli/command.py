"""The kind of click command that all of fermd's are: help with examples, and negative numbers."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

import click

_NEGATIVE = re.compile(r"-[0-9.][^\s]*")


class Command(click.Command):
    """A command with examples in its help.

    `examples` are pairs of a command line and what it does. With `negative_numbers` an argument
    such as `-1` is a number and not an option.
    """

    def __init__(
        self,
        *args: Any,
        examples: Sequence[tuple[str, str]] = (),
        negative_numbers: bool = False,
        **more: Any,
    ) -> None:
        super().__init__(*args, **more)
        self.examples = tuple(examples)
        self._negative_numbers = negative_numbers

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Put negative numbers behind `--`, where they are not taken for options."""
        if self._negative_numbers and "--" not in args:
            numbers = [arg for arg in args if _NEGATIVE.fullmatch(arg)]
            if numbers:
                others = [arg for arg in args if not _NEGATIVE.fullmatch(arg)]
                args = [*others, "--", *numbers]
        return super().parse_args(ctx, args)

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the examples."""
        super().format_epilog(ctx, formatter)
        with formatter.section("Examples"):
            for line, what in self.examples:
                formatter.write(f"{'':>{formatter.current_indent}}{line}\n")
                formatter.indent()
                formatter.write_text(what)
                formatter.dedent()
