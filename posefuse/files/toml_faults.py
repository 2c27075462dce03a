"""One line for each thing a schema refused: its place, its value and what is allowed."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from posefuse.errors import FileError
from posefuse.files.toml_lines import KeyPath, line_of
from posefuse.files.unit_keys import key_advice, spellings

__all__ = ["schema_faults", "shown_key", "shown_value"]

_WORDING = {
    "float_type": "must be a number",
    "float_parsing": "must be a number",
    "int_type": "must be a whole number",
    "int_from_float": "must be a whole number",
    "string_type": "must be a text in quotes",
    "string_too_short": "must not be empty",
    "bool_type": "must be true or false",
    "finite_number": "must be a finite number",
    "tuple_type": "must be a list",
    "list_type": "must be a list",
    "dict_type": "must be a table",
    "model_type": "must be a table",
    "model_attributes_type": "must be a table",
}
_ABSENT = object()


def shown_key(path: KeyPath) -> str:
    """A key path as people read it: items counted from 1.

    >>> shown_key(("tag", 2, "edge_m"))
    'tag.3.edge_m'
    """
    return ".".join(str(part + 1) if isinstance(part, int) else _plain(part) for part in path)


def _plain(key: str) -> str:
    return key if key.isprintable() else repr(key)  # a message is one line, whatever a key holds


def shown_value(value: object) -> str:
    """A value as the file spells it, cut when long."""
    text = {True: "true", False: "false"}[value] if isinstance(value, bool) else repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def schema_faults(
    error: ValidationError,
    *,
    path: Path,
    data: Mapping[str, Any],
    lines: Mapping[KeyPath, int],
    model: type[BaseModel],
) -> list[FileError]:
    """One ``FileError`` for each thing the schema refused, in the order of the file."""
    found: dict[tuple[KeyPath, str], str] = {}
    excused: set[KeyPath] = set()
    for detail in error.errors(include_url=False):
        place, value = _place(data, detail["loc"])
        if detail["type"] == "extra_forbidden":
            owner = _model_at(model, detail["loc"][:-1])
            given = _inside(data, place[:-1])
            problem, meant = key_advice(str(place[-1]), given=given, keys=owner.model_fields)
            problem += f" (got {_plain(str(place[-1]))} = {shown_value(value)})"
            excused |= {(*place[:-1], meant)} if meant else set()
        elif detail["type"] == "missing":
            place, problem = _missing(place, data)
        else:
            problem = _refusal(detail, place, value)
        found.setdefault((place, problem), detail["type"])
    faults = [
        FileError(path, problem, line=line_of(place, lines), key=shown_key(place) or None)
        for (place, problem), kind in found.items()
        if not (kind == "missing" and place in excused)  # its misspelling is reported already
    ]
    return sorted(faults, key=lambda fault: fault.line or 0)


def _place(data: object, loc: Sequence[str | int]) -> tuple[KeyPath, object]:
    """The path as the file spells it (its own unit variant), and the value that stands there.

    Steps that the file does not show, such as which branch of a union was tried, are left out.
    """
    place: KeyPath = ()
    for depth, part in enumerate(loc):
        step: str | int | None = None
        if isinstance(part, int):
            step = part if isinstance(data, list) and part < len(data) else None
        elif isinstance(data, dict):
            step = next((name for name in spellings(part) if name in data), None)
        if step is not None:
            place, data = (*place, step), data[step]  # type: ignore[index]
        elif depth == len(loc) - 1 and isinstance(data, (dict, list)):
            return (*place, part), _ABSENT
    return place, data


def _inside(data: Any, place: KeyPath) -> Any:  # noqa: ANN401
    for part in place:
        data = data[part]
    return data


def _missing(place: KeyPath, data: object) -> tuple[KeyPath, str]:
    last = place[-1]
    if isinstance(last, str):
        also = list(spellings(last))[1:]
        return place, "missing, and must be given" + (f" (or {', '.join(also)})" if also else "")
    short = _inside(data, place[:-1])
    return place[:-1], f"too few values (got {len(short)}: {shown_value(short)})"


def _refusal(detail: ErrorDetails, place: KeyPath, value: object) -> str:
    kind, context = detail["type"], detail.get("ctx", {})
    got = f" (got {shown_value(value)})"
    if kind == "value_error":
        return str(context["error"])
    if kind in ("too_long", "too_short"):
        bound, count = (
            ("at most", "max_length") if kind == "too_long" else ("at least", "min_length")
        )
        return f"must hold {bound} {context[count]} values (got {len(value)})"  # type: ignore[arg-type]
    if kind in ("literal_error", "enum"):
        return f"must be one of {context['expected'].replace(' or ', ', ')}{got}"
    wording = _WORDING.get(kind) or detail["msg"].replace("Input should", "must")
    return wording + _in_which_unit(detail["loc"], place, context) + got


def _in_which_unit(loc: KeyPath, place: KeyPath, bound: Mapping[str, object]) -> str:
    """The unit of a bound, where the file uses another one than the bound does."""
    keys = [[part for part in path if isinstance(part, str)] for path in (loc, place)]
    main, spelt = keys[0][-1:], keys[1][-1:]
    if main == spelt or not main or not {"gt", "ge", "lt", "le"} & bound.keys():
        return ""
    return f" {main[0].rpartition('_')[2]}"


def _model_at(model: type[BaseModel], loc: Sequence[str | int]) -> type[BaseModel]:
    """The model whose table stands at ``loc``: follows fields through lists and unions."""
    for part in loc:
        if isinstance(part, str) and part in model.model_fields:
            inner = _models_in(model.model_fields[part].annotation)
            model = inner[0] if inner else model
    return model


def _models_in(hint: object) -> list[type[BaseModel]]:
    if isinstance(hint, type) and issubclass(hint, BaseModel):
        return [hint]
    return [model for part in get_args(hint) for model in _models_in(part)]
