"""``posefuse``: finds the command, runs it, turns known errors into lines and an exit status."""

import difflib
import re
import sys
from collections.abc import Mapping, Sequence
from importlib import import_module, metadata

import click

from posefuse.errors import PosefuseError

__all__ = ["cli", "run"]

_COMMANDS: Mapping[str, str] = {
    "check": "Validate files and say what they hold.",
    "compare": "Run every plan of a study with the same luck, and rank them.",
    "replay": "Run the filter on a recording and score it.",
    "simulate": "Write what the robot of a study would record.",
}
_REMEDIES = {"libGL": "libgl1", "libgthread": "libglib2.0-0", "libglib": "libglib2.0-0"}
_KNOWN_ERROR, _INTERRUPTED = 2, 130


class _CommandsOnCall(click.Group):
    """Loads the module of a command when it is called, so that ``--help`` is quick."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002  (click's signature)
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        if cmd_name not in _COMMANDS:
            return None
        found: click.Command = import_module(f"posefuse.cli.{cmd_name}").command
        return found

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        name = args[0]
        if name not in _COMMANDS and not name.startswith("-"):
            near = difflib.get_close_matches(name, _COMMANDS, n=1)
            advice = f"did you mean {near[0]!r}?" if near else f"there are: {', '.join(_COMMANDS)}"
            raise click.UsageError(f"no command {name!r}; {advice}", ctx)
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        with formatter.section("Commands"):
            formatter.write_dl(list(_COMMANDS.items()))


def _show_version(ctx: click.Context, _: click.Parameter, is_wanted: bool) -> None:  # noqa: FBT001
    if is_wanted:
        click.echo(f"posefuse {metadata.version('posefuse')}")
        ctx.exit()


@click.group(cls=_CommandsOnCall)
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
    """Runs the command line and leaves with its status: 0, 2 for known errors, 130 when stopped."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # a console that lacks a character shows another one
            stream.reconfigure(errors="replace")
    sys.exit(_status(sys.argv[1:]))


def _status(arguments: Sequence[str]) -> int:
    try:
        return cli.main(list(arguments), prog_name="posefuse", standalone_mode=False) or 0
    except click.ClickException as error:
        error.show()
        return error.exit_code
    except (click.Abort, KeyboardInterrupt):
        return _told("stopped", _INTERRUPTED)
    except PosefuseError as error:
        return _told(str(error), _KNOWN_ERROR)
    except ImportError as error:
        remedy = _remedy(error)
        if remedy is None:
            raise
        return _told(remedy, _KNOWN_ERROR)
    except OSError as error:
        if error.filename is None:
            raise
        return _told(f"{error.filename}: {error.strerror}", _KNOWN_ERROR)


def _told(message: str, status: int) -> int:
    click.echo(message, err=True)
    return status


def _remedy(error: ImportError) -> str | None:
    """What to do when cv2 finds a library of the system missing; ``None`` for other errors."""
    missing = re.match(r"((lib\w+)[\w.+-]*\.so[.\d]*): cannot open shared object", str(error))
    if missing is None or missing[2] not in _REMEDIES:
        return None
    remedy = f"apt-get install {_REMEDIES[missing[2]]}"
    return f"cv2 cannot load: {missing[1]} is missing; on Debian/Ubuntu: {remedy}"
