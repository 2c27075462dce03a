"""A finished picture with the words that go with it."""

import base64
from dataclasses import dataclass

__all__ = ["Picture"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """One picture of a report.

    Parameters
    ----------
    name
        Short and plain, fit for a file name.
    caption
        One sentence under it: how to read it.
    alt
        What it shows, for those who cannot see it.
    svg
        The whole SVG document.
    """

    name: str
    caption: str
    alt: str
    svg: str

    @property
    def data_uri(self) -> str:
        """The picture as the source of an image in a page: nothing in it can run or reach out."""
        return "data:image/svg+xml;base64," + base64.b64encode(self.svg.encode()).decode("ascii")
