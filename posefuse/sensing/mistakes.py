"""Mistakes of detectors: tags read with another id, and corners far off."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from posefuse.arena.arena import Tag
from posefuse.checks import BoolArray, FloatArray, IntArray
from posefuse.randomness.compiled.numbers import normals_at, uniforms_at
from posefuse.robot.rig import Mount
from posefuse.sensing.views import TagViews

__all__ = ["mistaken"]

# A random number's counter: frame number, tag id (20 bits), then one of 16 places.
_TAG_SHIFT, _FRAME_SHIFT = np.uint64(4), np.uint64(24)
_FALSE_ID, _WHICH_ID, _WRONG_CORNERS, _OFF = (np.uint64(place) for place in (0, 1, 2, 3))


def mistaken(
    views: TagViews,
    corners_px: FloatArray,
    is_found: BoolArray,
    *,
    mounts: Sequence[Mount],
    tags: Sequence[Tag],
    keys: NDArray[np.uint64],
) -> tuple[IntArray, FloatArray, BoolArray]:
    """Ids (S,), corners (S, 4, 2) and what is found (S,), with the detectors' mistakes put in.

    See ``robot.Detector`` for what they are. A tag that is alone in its family has no other id to
    be read with; a sighting is lost where a wrong corner lies outside the image. Each mistake hangs
    on its camera's key, the frame's number and the tag's id alone.

    Parameters
    ----------
    keys : (C,) uint64
        One for each camera, from ``randomness.stream_key``.
    """
    ids, corners_px, is_found = views.tags.ids[views.tag], corners_px.copy(), is_found.copy()
    camera = views.camera[views.frame]
    for index, (mount, key) in enumerate(zip(mounts, keys, strict=True)):
        detector = mount.camera.detector
        if detector.false_id_rate == 0.0 and detector.wrong_corners_rate == 0.0:
            continue
        own = np.flatnonzero(is_found & (camera == index))
        number = views.number[views.frame[own]].astype(np.uint64)
        counter = number << _FRAME_SHIFT | ids[own].astype(np.uint64) << _TAG_SHIFT
        is_false = _uniforms(key, counter | _FALSE_ID) < detector.false_id_rate
        is_wrong = _uniforms(key, counter | _WRONG_CORNERS) < detector.wrong_corners_rate
        places = _uniforms(key, counter | _WHICH_ID)[is_false]
        ids[own[is_false]] = _other_ids(views.tag[own[is_false]], places, tags)
        wrong = own[is_wrong]
        offsets = counter[is_wrong, None] + _OFF + np.arange(8, dtype=np.uint64)
        off = np.empty(offsets.size)
        normals_at(key, offsets.ravel(), off)
        corners_px[wrong] += detector.wrong_corners_px * off.reshape(-1, 4, 2)
        most = views.cameras.size_px[index] - 0.5
        is_inside = ((corners_px[wrong] >= -0.5) & (corners_px[wrong] <= most)).all(axis=(1, 2))
        is_found[wrong[~is_inside]] = False
        corners_px[wrong[~is_inside]] = np.nan
    return ids, corners_px, is_found


def _uniforms(key: np.uint64, counters: NDArray[np.uint64]) -> FloatArray:
    values = np.empty(len(counters))
    uniforms_at(key, counters, values)
    return values


def _other_ids(tag: IntArray, places: FloatArray, tags: Sequence[Tag]) -> IntArray:
    """Another id of each tag's family, at a place (n,) between 0 and 1 among them in order."""
    ids = np.array([tags[index].id for index in tag], dtype=np.int64)
    for row, (index, place) in enumerate(zip(tag, places, strict=True)):
        family = sorted(other.id for other in tags if other.family == tags[index].family)
        family.remove(tags[index].id)
        if family:
            ids[row] = family[int(place * len(family))]
    return ids
