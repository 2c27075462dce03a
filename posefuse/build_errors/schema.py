"""Schema of the tables ``[as_built]``: one key for each build error of the list."""

import math
from typing import TYPE_CHECKING

from pydantic import create_model

from posefuse.build_errors.catalogue import BUILD_ERRORS
from posefuse.build_errors.spreads import BuildSpreads
from posefuse.files.toml_file import FileModel
from posefuse.files.types import NotNegative

__all__ = ["AsBuiltTable"]


class _Spreads(FileModel):
    """How far off builds are, one standard deviation each."""

    @property
    def spreads(self) -> BuildSpreads:
        """In radians."""
        values = {}
        for error in BUILD_ERRORS:
            if not error.is_of_robot_file:
                value = getattr(self, error.key)
                values[error.name] = value if error.key == error.name else math.radians(value)
        return BuildSpreads(values=values)


if TYPE_CHECKING:

    class AsBuiltTable(_Spreads):
        """``[as_built]``: spreads of the build errors."""
else:
    AsBuiltTable = create_model(
        "AsBuiltTable",
        __base__=_Spreads,
        __doc__="``[as_built]``: spreads of the build errors.",
        **{error.key: (NotNegative, 0.0) for error in BUILD_ERRORS if not error.is_of_robot_file},
    )
