"""Reading the TOML files people write, through frozen schemas, with all faults reported at once."""

import re
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

from pydantic import (
    BaseModel,
    ConfigDict,
    GetCoreSchemaHandler,
    ValidationError,
    model_validator,
)
from pydantic_core import CoreSchema

from posefuse.errors import FileError, InputError
from posefuse.files.numbers import LARGEST
from posefuse.files.text_file import read_text
from posefuse.files.toml_faults import schema_faults, shown_key
from posefuse.files.toml_lines import KeyPath, key_lines, line_of
from posefuse.files.unit_keys import spellings, with_main_units

__all__ = ["Faults", "FileModel", "all_faults_of", "in_file", "load_toml", "read_toml"]

M = TypeVar("M", bound="FileModel")

_TOO_DEEP = "lists or tables nested too deeply"


def _make_leaves_strict(schema: object) -> None:
    # strict as a whole would refuse TOML's lists for tuples and its texts for enum members
    if isinstance(schema, dict):
        if schema.get("type") in ("float", "int", "bool", "str"):
            schema["strict"] = True
        if schema.get("type") == "int":
            schema.setdefault("le", LARGEST)
        if schema.get("type") == "float":
            _bound(schema)
        for part in schema.values():
            _make_leaves_strict(part)
    elif isinstance(schema, (list, tuple)):
        for part in schema:
            _make_leaves_strict(part)


def _bound(schema: dict[str, Any]) -> None:
    """Keep a number within ``LARGEST``; bounds of its own come first."""
    if not {"ge", "gt"} & schema.keys():
        schema["ge"] = -LARGEST
    if not {"le", "lt"} & schema.keys():
        schema["le"] = LARGEST


class FileModel(BaseModel):
    """Base of every file schema: frozen, no unknown keys, and a unit in the key's name.

    A field ``height_m`` is also taken as ``height_cm``, ``height_mm`` or ``height_in``, and
    ``latency_s`` as ``latency_ms``. Numbers, texts and booleans are never taken for one
    another, and numbers lie within ``LARGEST``.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    @model_validator(mode="before")
    @classmethod
    def _take_units(cls, table: object) -> object:
        return with_main_units(table, cls.model_fields) if isinstance(table, dict) else table

    @classmethod
    def __get_pydantic_core_schema__(
        cls, source: type[BaseModel], handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        schema = handler(source)
        _make_leaves_strict(schema)
        return schema


def load_toml(path: Path | str, model: type[M]) -> M:
    """The file's content, checked against its schema.

    Raises
    ------
    FileError
        With one line for each fault: file, line, key, value and what is allowed.
    """
    path = Path(path)
    data = read_toml(path)
    try:
        return model.model_validate(data)
    except RecursionError:
        raise FileError(path, _TOO_DEEP) from None
    except ValidationError as error:
        lines = key_lines(read_text(path))
        faults = schema_faults(error, path=path, data=data, lines=lines, model=model)
    raise FileError.joined(faults)


def read_toml(path: Path | str) -> dict[str, Any]:
    """The file's content as ``tomllib`` gives it, not yet checked."""
    path = Path(path)
    text = read_text(path)
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise FileError(path, _TOO_DEEP) from None
    except ValueError as error:
        parts = re.fullmatch(
            r"(.*?) \(at (?:line (\d+), column (\d+)|end of document)\)", str(error)
        )
        if parts is None:
            raise FileError(path, f"not valid TOML: {error}") from None
        what, line, column = parts.groups()
        place = f"column {column}" if column else "at the end of the file"
        last = text.rstrip().count("\n") + 1
        raise FileError(
            path, f"not valid TOML: {what} ({place})", line=int(line) if line else last
        ) from None


@contextmanager
def in_file(path: Path | str, key: KeyPath = ()) -> Iterator[None]:
    """Turns an ``InputError`` raised inside into a ``FileError`` that names file, line and key.

    Parameters
    ----------
    key
        Keys and indices, counted from 0, of what is being built: ``("tag", 3)``. The message counts
        from 1.
    """
    try:
        yield
    except InputError as error:
        raise _placed(error, Path(path), key) from error


class Faults:
    """Collects what is wrong while one file is turned into objects, to report all of it."""

    def __init__(self, path: Path | str) -> None:
        self._path = Path(path)
        self.found: list[FileError] = []

    @contextmanager
    def at(self, *key: str | int) -> Iterator[None]:
        """Keeps an ``InputError`` or ``FileError`` raised inside, and goes on after the block."""
        try:
            yield
        except InputError as error:
            self.found.append(_placed(error, self._path, key))
        except FileError as error:
            self.found.append(error)

    def add(self, problem: str, *key: str | int) -> None:
        """Notes a fault at a key."""
        self.found.append(_placed(InputError(problem), self._path, key))

    def stop_if_any(self) -> None:
        """Raises one ``FileError`` with everything found so far, if anything was."""
        found, self.found = self.found, []
        if found:
            raise FileError.joined(found)


@contextmanager
def all_faults_of(path: Path | str) -> Iterator[Faults]:
    """A collector of faults; on leaving the block whatever it holds is raised as one ``FileError``.

    An ``InputError`` raised outside ``Faults.at`` is taken for a fault of the file as a whole.
    """
    faults = Faults(path)
    with faults.at():
        yield faults
    faults.stop_if_any()


def _placed(error: InputError, path: Path, key: KeyPath) -> FileError:
    if not key:
        return FileError(path, str(error))
    lines = key_lines(read_text(path))
    spelt: KeyPath = ()
    for part in key:  # as the file spells it: with its own unit
        names = (part,) if isinstance(part, int) else tuple(spellings(part))
        spelt = (*spelt, next((name for name in names if (*spelt, name) in lines), part))
    return FileError(path, str(error), line=line_of(spelt, lines), key=shown_key(spelt))
