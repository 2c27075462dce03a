"""A template and its values to one HTML page that needs nothing else."""

from datetime import datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

__all__ = ["command_text", "write_page"]


def write_page(
    path: Path,
    template: str,
    *,
    made_at: datetime | None,
    **values: Any,  # noqa: ANN401
) -> None:
    """Writes the page; every value is escaped.

    Parameters
    ----------
    template
        File name in ``templates/``.
    made_at
        ``None``: now.
    """
    environment = Environment(
        loader=PackageLoader("posefuse.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        keep_trailing_newline=True,
    )
    made_on = (made_at or datetime.now()).strftime("%Y-%m-%d %H:%M")
    html = environment.get_template(template).render(
        version=version("posefuse"), made_on=made_on, **values
    )
    path.write_text(html, encoding="utf-8", newline="\n")


def command_text(*words: str) -> str:
    """A command line as a person would type it: words with blanks stand in quotes.

    >>> command_text("posefuse", "compare", "my court/study.toml")
    'posefuse compare "my court/study.toml"'
    """
    return " ".join(f'"{word}"' if set(word) & set(" '&;()") else word for word in words)
