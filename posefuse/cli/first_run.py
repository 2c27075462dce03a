"""What a user reads before the first run of a command, which compiles in silence."""

from collections.abc import Callable

import click

__all__ = ["announce_first_run"]


def announce_first_run(kernel: Callable[..., object]) -> None:
    """One line on standard error, if the cache does not hold a kernel that the command needs."""
    from posefuse.compiling import is_cached

    if not is_cached(kernel):
        click.echo("First run: compiling, for up to a minute. Later runs skip that.", err=True)
