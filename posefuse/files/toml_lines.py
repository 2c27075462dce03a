"""Where each key of a TOML text stands: key path to 1-based line.

``tomllib`` keeps no places. This reads a text that ``tomllib`` has already taken, so it need not
find faults: it only follows the grammar of TOML 1.0 (toml.io/en/v1.0.0) closely enough to know
where keys, array items and tables begin.
"""

import re
from collections.abc import Mapping

__all__ = ["KeyPath", "key_lines", "line_of"]

KeyPath = tuple[str | int, ...]
"""Keys and 0-based array indices from the top of the file down."""

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR = re.compile(r"[^,\]}#\n]+")
_ESCAPE = re.compile(r'\\(?:u([0-9a-fA-F]{4})|U([0-9a-fA-F]{8})|(["\\bfnrt]))')
_ESCAPED = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r", '"': '"', "\\": "\\"}
_STRINGS = (
    # up to two quotes may stand right before the closing three
    re.compile(r'"""(?:\\.|[^\\])*?"""(?:"{0,2})', re.DOTALL),
    re.compile(r"'''.*?'''(?:'{0,2})", re.DOTALL),
    re.compile(r'"(?:\\.|[^"\\\n])*"'),
    re.compile(r"'[^'\n]*'"),
)


def key_lines(text: str) -> dict[KeyPath, int]:
    r"""The line of every key, table and array item in a valid TOML text.

    Examples
    --------
    >>> key_lines('name = "a"\n[[tag]]\nid = 1\n[[tag]]\nid = 2\n')[("tag", 1, "id")]
    5
    """
    return _Reader(text).read()


def line_of(path: KeyPath, lines: Mapping[KeyPath, int]) -> int | None:
    """The line of ``path``, or of the nearest thing around it that has one."""
    while path:
        if path in lines:
            return lines[path]
        path = path[:-1]
    return None


class _Reader:
    def __init__(self, text: str) -> None:
        self._text = text
        self._at = 0
        self._line = 1
        self._counted = 0
        self._lines: dict[KeyPath, int] = {}
        self._tables: dict[KeyPath, int] = {}

    def read(self) -> dict[KeyPath, int]:
        table: KeyPath = ()
        self._skip_blank()
        while self._at < len(self._text):
            if self._text[self._at] == "[":
                table = self._header()
            else:
                self._pair(table)
            self._skip_blank()
        return self._lines

    def _here(self) -> int:
        self._line += self._text.count("\n", self._counted, self._at)
        self._counted = self._at
        return self._line

    def _mark(self, path: KeyPath, line: int) -> None:
        self._lines.setdefault(path, line)

    def _skip_blank(self) -> None:
        self._at = _BLANK.match(self._text, self._at).end()  # type: ignore[union-attr]

    def _take(self, mark: str) -> bool:
        self._skip_blank()
        taken = self._text.startswith(mark, self._at)
        self._at += len(mark) * taken
        return taken

    def _header(self) -> KeyPath:
        line = self._here()
        opens_item = self._text.startswith("[[", self._at)
        self._at += 2 if opens_item else 1
        keys = self._dotted_key()
        self._at += 2 if opens_item else 1
        path: KeyPath = ()
        for place, key in enumerate(keys):
            path = (*path, key)
            self._mark(path, line)
            if opens_item and place == len(keys) - 1:
                self._tables[path] = self._tables.get(path, -1) + 1
            if path in self._tables:  # an array of tables: its newest item is meant
                path = (*path, self._tables[path])
                self._mark(path, line)
        if not opens_item:  # the table's own header, not an earlier one that only passed through
            self._lines[path] = line
        return path

    def _dotted_key(self) -> list[str]:
        keys = [self._key()]
        while self._take("."):
            keys.append(self._key())
        self._skip_blank()
        return keys

    def _key(self) -> str:
        self._skip_blank()
        bare = _BARE_KEY.match(self._text, self._at)
        if bare:
            self._at = bare.end()
            return bare.group()
        quoted = self._string()
        return quoted[1:-1] if quoted[0] == "'" else _ESCAPE.sub(_unescape, quoted[1:-1])

    def _string(self) -> str:
        for form in _STRINGS:
            found = form.match(self._text, self._at)
            if found:
                self._at = found.end()
                return found.group()
        raise AssertionError("the text was not valid TOML")

    def _pair(self, table: KeyPath) -> None:
        line = self._here()
        path = table
        for key in self._dotted_key():
            path = (*path, key)
            self._mark(path, line)
        self._take("=")
        self._value(path)

    def _value(self, path: KeyPath) -> None:
        self._skip_blank()
        mark = self._text[self._at]
        if mark == "[":
            self._array(path)
        elif mark == "{":
            self._inline_table(path)
        elif mark in "\"'":
            self._string()
        else:
            self._at = _SCALAR.match(self._text, self._at).end()  # type: ignore[union-attr]

    def _array(self, path: KeyPath) -> None:
        self._at += 1
        index = 0
        while not self._take("]"):
            item = (*path, index)
            self._mark(item, self._here())
            self._value(item)
            self._take(",")
            index += 1

    def _inline_table(self, path: KeyPath) -> None:
        self._at += 1
        while not self._take("}"):
            self._pair(path)
            self._take(",")


def _unescape(found: re.Match[str]) -> str:
    short, long, mark = found.groups()
    return _ESCAPED[mark] if mark else chr(int(short or long, 16))
