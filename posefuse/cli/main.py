"""``posefuse``: finds the command, runs it, turns known errors into lines and an exit status."""

import os
import re
import sys
from collections.abc import Mapping, Sequence
from importlib import metadata

import click

from posefuse.cli.garbage import collect_garbage_seldom
from posefuse.cli.groups import CommandsOnCall
from posefuse.errors import PosefuseError

__all__ = ["cli", "run"]

_COMMANDS: Mapping[str, str] = {
    "aim": "Work out the pivots of a shooter for a goal, or fit it to measured shots.",
    "calibrate": "Measure a lens from pictures of a board, or how a camera's detector responds.",
    "check": "Validate files and say what they hold.",
    "compare": "Run every plan of a study with identical random draws, and rank them.",
    "render": "Show what the cameras see, as pictures and as a movie.",
    "replay": "Run the filter on a recording and score it.",
    "simulate": "Write what the robot of a study would record.",
}
_REMEDIES = {"libGL": "libgl1", "libgthread": "libglib2.0-0", "libglib": "libglib2.0-0"}
_KNOWN_ERROR, _INTERRUPTED = 2, 130


def _show_version(ctx: click.Context, _: click.Parameter, is_wanted: bool) -> None:  # noqa: FBT001
    if is_wanted:
        click.echo(f"posefuse {metadata.version('posefuse')}")
        ctx.exit()


@click.group(cls=CommandsOnCall, parts=_COMMANDS)
@click.option(
    "--version",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_show_version,
    help="Show the version and leave.",
)
def cli() -> None:
    """Choose camera mounts, tune the pose filter, and prove the distance to the goal.

    Start with: posefuse compare datasets/orchard/study.toml
    """


def run() -> None:
    """Runs the command line and leaves with its status: 0, 2 for known errors, 130 when stopped.

    Stopped by the user it leaves at once: threads may be in the middle of compiling for a minute.
    """
    collect_garbage_seldom()
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # a console that lacks a character shows another one
            stream.reconfigure(errors="replace")
    status = _status(sys.argv[1:])
    if status == _INTERRUPTED:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(status)
    sys.exit(status)


def _status(arguments: Sequence[str]) -> int:
    try:
        return cli.main(list(arguments), prog_name="posefuse", standalone_mode=False) or 0
    except click.ClickException as error:
        error.show()
        return error.exit_code
    except (click.Abort, KeyboardInterrupt):
        return _failed("stopped", _INTERRUPTED)
    except PosefuseError as error:
        return _failed(str(error), _KNOWN_ERROR)
    except ImportError as error:
        remedy = _remedy(error)
        if remedy is None:
            raise
        return _failed(remedy, _KNOWN_ERROR)
    except OSError as error:
        if error.filename is None:
            raise
        return _failed(f"{error.filename}: {error.strerror}", _KNOWN_ERROR)


def _failed(message: str, status: int) -> int:
    """The exit status, with its reason on standard error."""
    click.echo(message, err=True)
    return status


def _remedy(error: ImportError) -> str | None:
    """What to do when cv2 finds a library of the system missing; ``None`` for other errors."""
    missing = re.match(r"((lib\w+)[\w.+-]*\.so[.\d]*): cannot open shared object", str(error))
    if missing is None or missing[2] not in _REMEDIES:
        return None
    remedy = f"apt-get install {_REMEDIES[missing[2]]}"
    return f"cv2 cannot load: {missing[1]} is missing; on Debian/Ubuntu: {remedy}"
