"""Where results go when no folder is named."""

from datetime import datetime
from pathlib import Path

__all__ = ["default_folder"]


def default_folder() -> Path:
    """``results/`` and the local time to the second: a new folder for each run."""
    return Path("results") / datetime.now().strftime("%Y-%m-%d_%H%M%S")
