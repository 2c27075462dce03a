"""Commands that are loaded when they are called, so that ``--help`` is fast."""

import difflib
from collections.abc import Mapping
from importlib import import_module

import click

__all__ = ["CommandsOnCall"]


class CommandsOnCall(click.Group):
    """A group whose commands live in a module each.

    Parameters
    ----------
    parts
        What each command does, by name.
    prefix
        What stands before a command's name in the name of its module in ``posefuse.cli``.
    """

    def __init__(
        self,
        *,
        parts: Mapping[str, str],
        prefix: str = "",
        **attrs: object,
    ) -> None:
        super().__init__(**attrs)  # type: ignore[arg-type]
        self._parts = parts
        self._prefix = prefix

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002  (click's signature)
        """The names, in the order given."""
        return list(self._parts)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """The command, its module loaded now; ``None`` when there is none of the name."""
        if cmd_name not in self._parts:
            return None
        found: click.Command = import_module(f"posefuse.cli.{self._prefix}{cmd_name}").command
        return found

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """The command that the arguments name; a wrong name is refused, the nearest one named."""
        name = args[0]
        if name not in self._parts and not name.startswith("-"):
            near = difflib.get_close_matches(name, self._parts, n=1)
            advice = (
                f"did you mean {near[0]!r}?" if near else f"there are: {', '.join(self._parts)}"
            )
            raise click.UsageError(f"no command {name!r}; {advice}", ctx)
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """Writes the list of commands without loading any."""
        with formatter.section("Commands"):
            formatter.write_dl(list(self._parts.items()))
