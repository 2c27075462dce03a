"""``posefuse calibrate``: measures what a camera does, instead of trusting its data sheet."""

import click

from posefuse.cli.groups import CommandsOnCall

__all__ = ["command"]

_PARTS = {
    "detector": "Measure how a tag detector responds to a camera's images.",
    "lens": "Measure a lens from pictures of a printed board, or print the board.",
}


@click.group(name="calibrate", cls=CommandsOnCall, parts=_PARTS, prefix="calibrate_")
def command() -> None:
    """Measure what a camera does, and the detector on it."""
