"""The line locator against ``tomllib``: any file, written any way, each value on its own line."""

import re
import tomllib
from datetime import datetime
from random import Random
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from posefuse.files.toml_lines import key_lines

# No digits (each value is found again by its own number), no control characters.
KEYS = st.one_of(
    st.sampled_from(
        ["tag", "edge_m", "a-b", "true", "inf", 'say "hi"', "it's", "a.b", "[x]", "#", ""]
    ),
    st.text(
        st.characters(exclude_categories=["Cc", "Cs", "Co", "Cn", "Nd", "Zl", "Zp"]), max_size=6
    ),
)
LEAF = st.sampled_from(["int", "float", "basic", "literal", "long", "long literal", "instant"])
NODES = st.recursive(
    LEAF,
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(KEYS, inner, max_size=4)),
    max_leaves=20,
)
TABLES = st.dictionaries(KEYS, NODES, max_size=5)
COMMENTS = ("", "", " # a = 1", " # [tag]", ' # """', " # it's ] }", "\t#")


class Writer:
    """Writes a nested structure as TOML, spelt at random; each value holds its own number."""

    def __init__(self, random: Random) -> None:
        self.random = random
        self.next_number = 100_000
        self.parts: list[str] = []

    def table(self, table: dict[str, Any], path: tuple[str, ...] = ()) -> None:
        later = []
        for key, node in table.items():
            if is_tables(node) and self.random.random() < 0.7:
                later.append((key, node))
            elif isinstance(node, dict) and node and self.random.random() < 0.5:
                self.dotted(node, [key])
            elif isinstance(node, dict) and self.random.random() < 0.6:
                later.append((key, node))
            else:
                self.pair([key], node)
        for key, node in later:
            header = ".".join(self.key(part) for part in (*path, key))
            for item in node if isinstance(node, list) else [node]:
                form = "[[ {} ]]" if isinstance(node, list) else "[{}]"
                self.line(f"  {form.format(header)}")
                self.table(item, (*path, key))

    def dotted(self, table: dict[str, Any], keys: list[str]) -> None:
        for key, node in table.items():
            if isinstance(node, dict) and node and self.random.random() < 0.5:
                self.dotted(node, [*keys, key])
            else:
                self.pair([*keys, key], node)

    def pair(self, keys: list[str], node: Any) -> None:
        dot = self.random.choice([".", " . "])
        self.line(f"{dot.join(self.key(key) for key in keys)} = {self.value(node, in_line=False)}")

    def line(self, text: str) -> None:
        self.parts.append(text + self.random.choice(COMMENTS))
        self.parts.extend(
            self.random.choice(["", "# x = [", "  "]) for _ in range(self.random.randrange(2))
        )

    def key(self, key: str) -> str:
        if re.fullmatch(r"[A-Za-z_-]+", key) and self.random.random() < 0.8:
            return key
        if "'" not in key and self.random.random() < 0.5:
            return f"'{key}'"
        escaped = key.replace("\\", "\\\\").replace('"', '\\"')
        if self.random.random() < 0.3:
            escaped = "".join(c if c.isascii() else f"\\U{ord(c):08x}" for c in escaped)
        return f'"{escaped}"'

    def value(self, node: Any, *, in_line: bool) -> str:
        if isinstance(node, list):
            return self.array(node, in_line=in_line)
        if isinstance(node, dict):
            pairs = [f"{self.key(k)} = {self.value(v, in_line=True)}" for k, v in node.items()]
            return "{ " + ", ".join(pairs) + " }"
        return self.leaf(node, in_line=in_line)

    def array(self, items: list[Any], *, in_line: bool) -> str:
        text = "["
        for place, item in enumerate(items):
            breaks = ["", " "] if in_line else ["", " ", "\n  ", " # ], 'x\n"]
            text += self.random.choice(breaks) + self.value(item, in_line=in_line)
            text += self.random.choice(["", " "]) + ("," if place < len(items) - 1 else "")
        return text + ("" if in_line else self.random.choice(["", "\n"])) + "]"

    def leaf(self, kind: str, *, in_line: bool) -> str:
        self.next_number += 1
        number = self.next_number
        if in_line and kind.startswith("long"):
            kind = "basic"
        return {
            "int": f"{number}",
            "float": f"+{number}.5",
            "basic": f'"m{number} \\" ]}} # \\\\"',
            "literal": f"'m{number} \" ]}} # \\'",
            "long": f'"""m{number}\n[x]\ny = ""\\"" \\\\""""',
            "long literal": f"'''m{number}\n[[x]]\n'' # \\''''",
            "instant": f"2001-02-03 04:05:06.{number}",
        }[kind]


def is_tables(node: Any) -> bool:
    return isinstance(node, list) and bool(node) and all(isinstance(n, dict) for n in node)


def places(data: Any, path: tuple[str | int, ...] = ()) -> Any:
    """Every path in the parsed data, with its value."""
    if path:
        yield path, data
    if isinstance(data, dict):
        for key, inner in data.items():
            yield from places(inner, (*path, key))
    elif isinstance(data, list):
        for index, inner in enumerate(data):
            yield from places(inner, (*path, index))


def number_in(value: Any) -> int:
    if isinstance(value, datetime):
        return value.microsecond
    return int(value) if isinstance(value, (int, float)) else int(re.search(r"\d+", value)[0])


@given(table=TABLES, random=st.randoms(use_true_random=False))
def test_each_value_is_found_on_its_line(table: dict[str, Any], random: Random) -> None:
    writer = Writer(random)
    writer.table(table)
    text = "\n".join(writer.parts) + "\n"
    lines = key_lines(text)
    for path, value in places(tomllib.loads(text)):
        assert path in lines, text
        if not isinstance(value, (dict, list)):
            wanted = text.count("\n", 0, text.index(str(number_in(value)))) + 1
            assert lines[path] == wanted, (path, text)
