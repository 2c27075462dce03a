"""Reading text files that may be missing, empty, or not text."""

import codecs
from pathlib import Path

from posefuse.errors import FileError

__all__ = ["read_text"]


def read_text(path: Path) -> str:
    r"""The text of a UTF-8 file, its byte order mark taken off and line ends as ``\n``.

    Raises
    ------
    FileError
        Missing, a folder, not readable, empty, or not UTF-8 text.
    """
    content = _read_bytes(path)
    if not content.strip(b"\xef\xbb\xbf \t\r\n"):
        raise FileError(path, "the file is empty")
    if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        raise FileError(path, "saved as UTF-16: save it as UTF-8")
    if b"\0" in content:
        raise FileError(path, "expected text in UTF-8, got a binary file")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        found = content[error.start]
        raise FileError(
            path, f"not UTF-8 text (got the byte 0x{found:02x}): save it as UTF-8", line=line
        ) from None
    return text.replace("\r\n", "\n")


def _read_bytes(path: Path) -> bytes:
    if path.is_dir():
        raise FileError(path, "expected a file, got a folder")
    try:
        return path.read_bytes()
    except FileNotFoundError:
        raise FileError(path, "no such file") from None
    except OSError as error:
        raise FileError(path, f"cannot be read: {error.strerror}") from None
