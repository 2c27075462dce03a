"""Compiled: the corners a detector reports in one trial, with as-built errors and noise."""

import numpy as np

from posefuse.compiling import inlined_kernel, kernel
from posefuse.randomness.compiled.numbers import normal, uniform
from posefuse.sensing.compiled.bias import add_bias
from posefuse.sensing.compiled.projection import project_point
from posefuse.sensing.compiled.visibility import (
    inside_image,
    place_camera,
    project_corners,
    turn_back,
)

__all__ = ["sense_corners"]

# A random number's counter: frame number, tag id (20 bits), then one of 16 places. What persists at
# rest has a flag, column and row of a pixel (18 bits each) in place of the frame's number.
TAG_SHIFT = np.uint64(4)
FRAME_SHIFT = np.uint64(24)
FOUND_PLACE = np.uint64(0)
SHARED_PLACE = np.uint64(1)
OWN_PLACE = np.uint64(3)
ONE = np.uint64(1)
TWO = np.uint64(2)
COLUMN_SHIFT = np.uint64(42)
PERSISTENT_FLAG = np.uint64(1 << 63)
PIXEL_MASK = np.int64((1 << 18) - 1)

READ_STEPS = 5  # each leaves of the error the share row time times px a second: 0.15 when fast


@inlined_kernel
def _counter(number, tag_id):
    """The first of a sighting's 16 counters."""
    return np.uint64(number) << FRAME_SHIFT | np.uint64(tag_id) << TAG_SHIFT


@inlined_kernel
def _seen_later(dx, dy, dz, twist, acceleration, f, later):
    """A vector from the robot to a point at rest, (x, y, z) as the robot sees it a little later.

    In the axes of the world at the capture; the robot turns by w t + w' t^2 / 2 (Rodrigues) and
    goes on by v t + v' t^2 / 2.
    """
    half = 0.5 * later * later
    dx -= twist[f, 3] * later + acceleration[f, 3] * half
    dy -= twist[f, 4] * later + acceleration[f, 4] * half
    dz -= twist[f, 5] * later + acceleration[f, 5] * half
    # the point turns the other way
    rx = -(twist[f, 0] * later + acceleration[f, 0] * half)
    ry = -(twist[f, 1] * later + acceleration[f, 1] * half)
    rz = -(twist[f, 2] * later + acceleration[f, 2] * half)
    angle = np.sqrt(rx * rx + ry * ry + rz * rz)
    sine, cosine = 1.0, 0.5
    if angle > 1e-6:
        sine, cosine = np.sin(angle) / angle, (1.0 - np.cos(angle)) / (angle * angle)
    along = rx * dx + ry * dy + rz * dz
    rest = 1.0 - cosine * angle * angle
    return (
        rest * dx + sine * (ry * dz - rz * dy) + cosine * along * rx,
        rest * dy + sine * (rz * dx - rx * dz) + cosine * along * ry,
        rest * dz + sine * (rx * dy - ry * dx) + cosine * along * rz,
    )


@inlined_kernel
def _read_by_rows(corners, lens_rows, pose, frames, cameras, which, pixels):
    """Put a sighting's pixels where the corners are as their rows are read; middle row: no later.

    A corner's row hangs on where it then is: ``READ_STEPS`` times from the row found before. which:
    the numbers of the tag, the frame, the camera and the sighting.
    """
    turn, place = pose
    n, f, c, s = which
    base, lens = frames.translation_m, lens_rows[c]
    middle, row_time = 0.5 * (cameras.size_px[c, 1] - 1.0), cameras.row_time_s[c]
    bx, by, bz = base[f, 0], base[f, 1], base[f, 2]
    for k in range(4):
        cx, cy, cz = corners[n, k, 0], corners[n, k, 1], corners[n, k, 2]
        for _ in range(READ_STEPS):
            later = row_time * (pixels[s, k, 1] - middle)
            dx, dy, dz = _seen_later(
                cx - bx, cy - by, cz - bz, frames.twist, frames.acceleration, f, later
            )
            x, y, z = turn_back(dx + bx - place[0], dy + by - place[1], dz + bz - place[2], turn)
            pixels[s, k, 0], pixels[s, k, 1] = project_point(x, y, z, lens)


@inlined_kernel
def _add_passing(pixels, s, std, shared_fraction, key, counter):
    """Add normal noise to pixels[s]: each axis std, of which a share is common to the four."""
    own_std = std * np.sqrt(1.0 - shared_fraction)
    own = counter + OWN_PLACE
    for j in range(8):
        pixels[s, j >> 1, j & 1] += own_std * normal(key, own + np.uint64(j))
    if shared_fraction > 0.0:
        shared_std = std * np.sqrt(shared_fraction)
        shared_u = shared_std * normal(key, counter | SHARED_PLACE)
        shared_v = shared_std * normal(key, counter | (SHARED_PLACE + ONE))
        for k in range(4):
            pixels[s, k, 0] += shared_u
            pixels[s, k, 1] += shared_v


@inlined_kernel
def _pixel_counter(u, v, tag_counter):
    """The counter of what persists while a point stays on its pixel, apart from those of frames."""
    column = np.uint64(np.int64(np.floor(u + 0.5)) & PIXEL_MASK)
    row = np.uint64(np.int64(np.floor(v + 0.5)) & PIXEL_MASK)
    return PERSISTENT_FLAG | column << COLUMN_SHIFT | row << FRAME_SHIFT | tag_counter


@inlined_kernel
def _add_persistent(pixels, s, std, shared_fraction, key, tag_counter):
    """The same, but drawn anew for each pixel that a corner (or the tag's middle) lies on."""
    own_std = std * np.sqrt(1.0 - shared_fraction)
    shared_u = shared_v = 0.0
    if shared_fraction > 0.0:
        u = 0.25 * (pixels[s, 0, 0] + pixels[s, 1, 0] + pixels[s, 2, 0] + pixels[s, 3, 0])
        v = 0.25 * (pixels[s, 0, 1] + pixels[s, 1, 1] + pixels[s, 2, 1] + pixels[s, 3, 1])
        shared = _pixel_counter(u, v, tag_counter)
        shared_std = std * np.sqrt(shared_fraction)
        shared_u = shared_std * normal(key, shared | SHARED_PLACE)
        shared_v = shared_std * normal(key, shared | (SHARED_PLACE + ONE))
    for k in range(4):
        at = _pixel_counter(pixels[s, k, 0], pixels[s, k, 1], tag_counter)
        own = at + OWN_PLACE + TWO * np.uint64(k)
        pixels[s, k, 0] += shared_u + own_std * normal(key, own)
        pixels[s, k, 1] += shared_v + own_std * normal(key, own + ONE)


@inlined_kernel
def _add_noise(pixels, s, std, fractions, key, counters):
    """Add scatter to pixels[s]: fractions (shared, persistent), counters (frame and tag, tag)."""
    shared, persistent = fractions
    if persistent > 0.0:
        _add_persistent(pixels, s, std * np.sqrt(persistent), shared, key, counters[1])
    _add_passing(pixels, s, std * np.sqrt(1.0 - persistent), shared, key, counters[0])


@kernel
def _project_found(sightings, frames, cameras, tag_ids, built, pixels, is_found):
    """Write the exact corners, as their rows are read, and whether each sighting is found."""
    pose = (np.empty((3, 3)), np.empty(3))
    camera_of_frame, number, keys = frames.camera, frames.number, built.keys
    corners, lens_rows, limits = built.corners_m, built.lens_rows, cameras.radius_limit
    row_time_s, placed = cameras.row_time_s, -1
    for s in range(sightings.frame.shape[0]):
        f, n = sightings.frame[s], sightings.tag[s]
        c = camera_of_frame[f]
        counter = _counter(number[f], tag_ids[n])
        found = uniform(keys[c], counter | FOUND_PLACE) < sightings.found_probability[s]
        if found:
            if f != placed:
                placed = f
                place_camera(frames, f, built, frames.state[f], pose)
            found = project_corners(corners, n, pose, lens_rows, c, limits, pixels, s)
        is_found[s] = found
        if found and row_time_s[c] > 0.0:
            _read_by_rows(corners, lens_rows, pose, frames, cameras, (n, f, c, s), pixels)


@kernel
def sense_corners(sightings, frames, cameras, tag_ids, built, noise_scale, pixels, is_found):
    """Write pixels (S, 4, 2) and is_found (S,); pixels are nan where nothing is found.

    ``sightings``, ``frames``, ``cameras`` and ``built`` are the named tuples of
    ``sensing.arrays``; tag_ids (N,).
    """
    _project_found(sightings, frames, cameras, tag_ids, built, pixels, is_found)
    # in a loop of its own the drawing is faster
    for s in range(sightings.frame.shape[0]):
        f, n = sightings.frame[s], sightings.tag[s]
        c = frames.camera[f]
        if is_found[s] and noise_scale > 0.0:
            shift = noise_scale * sightings.shift_px[s, 0], noise_scale * sightings.shift_px[s, 1]
            closer = noise_scale * sightings.inward_px[s], noise_scale * sightings.narrowing_px[s]
            add_bias(pixels, s, closer, shift)
            counters = _counter(frames.number[f], tag_ids[n]), _counter(0, tag_ids[n])
            fractions = sightings.shared_fraction[s], sightings.persistent_fraction[s]
            std = noise_scale * sightings.std_px[s]
            _add_noise(pixels, s, std, fractions, built.keys[c], counters)
        is_found[s] = is_found[s] and inside_image(pixels, s, cameras.size_px, c, 0.0)
        if not is_found[s]:
            for k in range(4):
                pixels[s, k, 0] = np.nan
                pixels[s, k, 1] = np.nan
