"""Compiles the later half of a first ``compare`` in a process of its own, beside the first half.

The process compares a robot at rest (``study.at_rest``) and leaves what it compiled where the first
process finds it. It hands over nothing else: without it, or after a fault of it, the first run only
takes longer. It ends with the process that started it, however that ends: its standard input is a
pipe that only the starter holds open.
"""

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Thread

__all__ = ["ABANDONED", "compiling_ahead"]

ABANDONED = 3
"""The exit status when the starter has gone before the work was done."""


@contextmanager
def compiling_ahead(study_file: Path) -> Iterator[None]:
    """A second process that compiles, until this is left; none where nothing is to be gained."""
    from posefuse.compiling import is_cached
    from posefuse.fusion.compiled.filter import run_filter
    from posefuse.rendering.compiled.render import draw_light

    if (os.cpu_count() or 1) < 2 or (is_cached(run_filter) and is_cached(draw_light)):
        yield
        return
    with subprocess.Popen(
        [sys.executable, "-P", "-m", "posefuse.cli.compile_ahead", str(study_file)],
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    ) as helper:
        try:
            yield
        finally:
            helper.terminate()


def _compile(study_file: Path) -> None:
    """Compares the study at rest, with all that is found of it."""
    from posefuse.cli.garbage import collect_garbage_seldom
    from posefuse.study.at_rest import compare_at_rest
    from posefuse.study.findings import findings_of
    from posefuse.study.load import load_study

    collect_garbage_seldom()
    findings_of(compare_at_rest(load_study(study_file)))


def _end_with_starter() -> None:
    os.read(sys.stdin.fileno(), 1)  # nothing is ever written: it returns at the end
    os._exit(ABANDONED)


if __name__ == "__main__":
    Thread(target=_end_with_starter, daemon=True).start()
    _compile(Path(sys.argv[1]))
