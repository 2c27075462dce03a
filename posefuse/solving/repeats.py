"""How many frames in a row have shown a tag in one place: their corners repeat their errors."""

import numpy as np

from posefuse.checks import FloatArray, IntArray
from posefuse.solving.compiled.repeats import write_repeats

__all__ = ["count_repeats"]

_REST_PX = 0.5
"""Corners that stay within half a pixel rest on their pixels, about."""


def count_repeats(corners_px: FloatArray, *, camera: IntArray, tag: IntArray) -> IntArray:
    """For each sighting how many frames in a row have shown its tag where it is, (S,), from 1 on.

    A row ends when the corners have gone half a pixel (root mean square) from where it began.

    Parameters
    ----------
    corners_px, camera, tag : (S, 8), (S,), (S,) arrays
        In order of capture.
    """
    counts = np.empty(len(camera), dtype=np.int64)
    anchors = np.zeros((camera.max(initial=-1) + 1, tag.max(initial=-1) + 1, 9))
    write_repeats(np.ascontiguousarray(corners_px), camera, tag, _REST_PX, anchors, counts)
    return counts
