"""Plants one small fault at a time into a copy of the package, and counts which ones tests catch.

Run by hand from the root, for all rooms or some; ``--look-up`` only says where each fault goes::

    python tests/plant_faults.py aim robot
    python tests/plant_faults.py --look-up

The faults stand in ``planted_faults.toml``. Each names its room, what is wrong, a text and the text
that replaces it, and the tests that must fail then (arguments of pytest). The text is looked for in
the room's folder and, where it is not there, in the whole package: it must occur exactly once.
"""

import argparse
import os
import shlex
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[1]
LIST = Path(__file__).with_name("planted_faults.toml")
COPIED = ("posefuse", "tests", "datasets", "fieldlayouts", "pyproject.toml", "README.md")
LONGEST_S = 900.0
CAUGHT, MISSED, UNUSABLE = "caught", "MISSED", "cannot be run"
TEST_FAILED = 1  # pytest's exit codes: https://docs.pytest.org/en/stable/reference/exit-codes.html


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One wrong change, and the tests that should notice it."""

    room: str
    what: str
    old: str
    new: str
    tests: str

    def target(self, root: Path) -> Path | str:
        """The file below ``root`` to change, or why there is none."""
        package = root / "posefuse"
        for folder in (package / self.room, package):
            sources = sorted(folder.rglob("*.py"))
            counts = {path: path.read_text(encoding="utf-8").count(self.old) for path in sources}
            found = {path: count for path, count in counts.items() if count}
            if sum(found.values()) == 1:
                return next(iter(found))
            if found:
                return f"the text occurs {sum(found.values())} times"
        return "the text is not found"

    def arguments(self) -> list[str]:
        """The tests as arguments of pytest."""
        return shlex.split(self.tests)

    def missing_tests(self, root: Path) -> list[str]:
        """Files and folders of tests that do not exist."""
        places = [word.partition("::")[0] for word in self.arguments() if "/" in word]
        return [place for place in places if not (root / place).exists()]


def load_faults(rooms: list[str]) -> list[Fault]:
    """The faults of some rooms; of all where none is named."""
    table = tomllib.loads(LIST.read_text(encoding="utf-8"))
    faults = [Fault(**entry) for entry in table["fault"]]
    known = sorted({fault.room for fault in faults})
    unknown = [room for room in rooms if room not in known]
    if unknown:
        raise SystemExit(f"no fault is listed for {', '.join(unknown)}; rooms: {', '.join(known)}")
    return [fault for fault in faults if not rooms or fault.room in rooms]


def copy_to(place: Path) -> None:
    """What tests need, with what was compiled before."""
    for name in COPIED:
        source = ROOT / name
        if source.is_dir():
            shutil.copytree(source, place / name, dirs_exist_ok=True)
        else:
            shutil.copy2(source, place / name)


def forget_compiled(place: Path) -> None:
    """Removes compiled kernels: they would hide a change in a kernel that they are made from."""
    for pattern in ("*.nbi", "*.nbc"):
        for path in (place / "posefuse").rglob(pattern):
            path.unlink()


def run_tests(place: Path, arguments: list[str], *, stop_early: bool = True) -> int | None:
    """pytest's exit code; ``None`` when the tests do not end."""
    words = ["-m", "pytest", "-q", "-p", "no:cacheprovider", *(["-x"] if stop_early else [])]
    try:
        done = subprocess.run(
            [sys.executable, *words, *arguments],
            cwd=place,
            env={**os.environ, "XDG_CACHE_HOME": str(place / "cache")},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            timeout=LONGEST_S,
        )
    except subprocess.TimeoutExpired:
        return None
    return done.returncode


def result_of(fault: Fault, place: Path) -> str:
    """Plants the fault, runs its tests and takes the fault out again."""
    path = fault.target(place)
    if isinstance(path, str):
        return f"{UNUSABLE}: {path}"
    missing = fault.missing_tests(place)
    if missing:
        return f"{UNUSABLE}: no {', '.join(missing)}"
    right = path.read_text(encoding="utf-8")
    is_kernel = "kernel\ndef " in right
    if is_kernel:
        forget_compiled(place)
    path.write_text(right.replace(fault.old, fault.new), encoding="utf-8", newline="\n")
    try:
        code = run_tests(place, fault.arguments())
    finally:
        shutil.copy2(ROOT / path.relative_to(place), path)
        if is_kernel:
            forget_compiled(place)
            shutil.copytree(ROOT / "posefuse", place / "posefuse", dirs_exist_ok=True)
    if code is None:
        return f"{UNUSABLE}: the tests took more than {LONGEST_S:g} s"
    return {0: MISSED, TEST_FAILED: CAUGHT}.get(code, f"{UNUSABLE}: pytest ended with {code}")


def say(text: str) -> None:
    """One line, at once."""
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


def look_up(faults: list[Fault]) -> int:
    """Says where each fault would go; the number of those that go nowhere."""
    lost = 0
    for fault in faults:
        target, missing = fault.target(ROOT), fault.missing_tests(ROOT)
        is_found = isinstance(target, Path) and not missing
        lost += not is_found
        where = target.relative_to(ROOT).as_posix() if isinstance(target, Path) else target
        say(f"{fault.room:12}{fault.what}: {where}{'; no ' if missing else ''}{' '.join(missing)}")
        if isinstance(target, str):
            say(f"{'':12}{fault.old}")
    say(f"\n{len(faults) - lost} of {len(faults)} faults can be planted")
    return lost


def main() -> int:
    """Runs the faults asked for; 0 when all were caught."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("rooms", nargs="*", help="Rooms of the package. Default: all.")
    parser.add_argument("--look-up", action="store_true", help="Only say where each fault goes.")
    parser.add_argument(
        "--trust", action="store_true", help="Do not first run the tests on the package as it is."
    )
    options = parser.parse_args()
    faults = load_faults(options.rooms)
    if options.look_up:
        return int(look_up(faults) > 0)
    results: dict[str, int] = {}
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        copy_to(place)
        if not options.trust:
            whole = dict.fromkeys(word for f in faults for word in f.arguments() if "/" in word)
            tests = [word for word in whole if (place / word.partition("::")[0]).exists()]
            if run_tests(place, tests, stop_early=False) != 0:
                raise SystemExit("the tests fail (or take too long) before any fault is planted")
        for fault in faults:
            started_s = time.monotonic()
            result = result_of(fault, place)
            kind = result.partition(":")[0]
            results[kind] = results.get(kind, 0) + 1
            took_s = time.monotonic() - started_s
            say(f"{fault.room:12}{kind:14}{took_s:6.0f} s  {fault.what}")
            if kind == UNUSABLE:
                say(f"{'':12}{result}")
    say("\n" + ", ".join(f"{kind}: {count}" for kind, count in sorted(results.items())))
    return int(set(results) != {CAUGHT})


if __name__ == "__main__":
    sys.exit(main())
