"""The source that kernels are compiled from, as one digest."""

import hashlib
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

__all__ = ["PACKAGE", "SourceState", "holds_kernels", "names_what_is_left_out", "source_state"]

PACKAGE = Path(__file__).resolve().parents[1]
"""The folder of posefuse itself."""

_LEFT_OUT = frozenset({"cli", "plots", "report"})
"""Rooms without kernels, which no room with kernels may import: words and pictures."""

_Stamps = tuple[tuple[str, int, int], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceState:
    """What the files of a package hold at one instant.

    Attributes
    ----------
    digest
        SHA-256 of the names and contents of the files that kernels can depend on.
    stamps
        Name, time of the last change (ns) and size of each of them.
    """

    package: Path
    digest: str
    stamps: _Stamps

    def is_current(self) -> bool:
        """Whether no file has been changed, added or removed since."""
        try:
            return _stamps(self.package) == self.stamps
        except OSError:
            return False


def source_state(package: Path) -> SourceState:
    """The state of a package's source now. Costs a few milliseconds."""
    stamps = _stamps(package)
    digest = hashlib.sha256()
    for name, _, _ in stamps:
        content = (package / name).read_bytes()
        digest.update(f"{name}\n{len(content)}\n".encode())
        digest.update(content)
    return SourceState(package=package, digest=digest.hexdigest(), stamps=stamps)


def holds_kernels(path: Path, package: Path) -> bool:
    """Whether kernels may stand in this file: it is in the package, and in its digest."""
    if path.suffix != ".py" or not path.is_relative_to(package) or not path.is_file():
        return False
    return path.relative_to(package).parts[0] not in _LEFT_OUT


def names_what_is_left_out(pickled: bytes) -> bool:
    """Whether pickled code names a module that the digest leaves out."""
    return any(f"{PACKAGE.name}.{room}".encode() in pickled for room in _LEFT_OUT)


def _stamps(package: Path) -> _Stamps:
    return tuple(sorted(_stamps_below(package, "", without=_LEFT_OUT)))


def _stamps_below(
    folder: Path, prefix: str, *, without: frozenset[str] = frozenset()
) -> Iterator[tuple[str, int, int]]:
    with os.scandir(folder) as entries:
        for entry in entries:
            if entry.name.endswith(".py"):
                status = entry.stat()
                yield f"{prefix}{entry.name}", status.st_mtime_ns, status.st_size
            elif entry.name not in without and entry.name != "__pycache__" and entry.is_dir():
                yield from _stamps_below(Path(entry.path), f"{prefix}{entry.name}/")
