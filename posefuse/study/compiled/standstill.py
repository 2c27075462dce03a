"""Compiled: what a filter's error comes to after a standstill, from the terms of its frames.

At rest nothing moves between the frames, so that they are fused in one: with A, B, C, k as in
``study.compiled.frame_terms``, n frames of each kind, the prior's information J and the spread s of
each constant::

    P = (J + sum n A)^-1
    mean square error = P (J + sum n C + sum n^2 Cp + sum s^2 b b' + k k') P
    b = sum n B of a constant, k = sum n k

White noise grows with n, what persists at rest (Cp) and constants with n^2: they do not average.
What the robot knows beforehand is taken as consistent and as free of these constants. Source: P. S.
Maybeck, Stochastic Models, Estimation, and Control, vol. 1, 1979, ch. 6 (from memory).
"""

import numpy as np

from posefuse.compiling import inlined_kernel, kernel
from posefuse.geometry.compiled.symmetric import inverse_of
from posefuse.solving.compiled.frame_sums import OWN_COLUMNS, TAG_COLUMNS

__all__ = ["write_standstill_covs"]


@inlined_kernel
def _add_column(noise, x, y, h):
    """Add the column's product with itself to noise (3, 3), its lower half alone."""
    noise[0, 0] += x * x
    noise[1, 0] += y * x
    noise[1, 1] += y * y
    noise[2, 0] += h * x
    noise[2, 1] += h * y
    noise[2, 2] += h * h


@kernel
def _add_frame(f, count, eye, stds, first_lean, terms, sums):
    """Add what so many frames like f do; sums: information, noise (3, 3), lean (3, 2), known (3,).

    Only the lower halves of the squares are written.
    """
    information, noise, lean, known = sums
    own_columns = OWN_COLUMNS - 2
    for i in range(3):
        known[i] += count * terms.known[f, i]
        for j in range(i + 1):
            information[i, j] += count * terms.information[f, i, j]
            noise[i, j] += count * (terms.white[f, i, j] + count * terms.persistent[f, i, j])
        for j in range(2):
            spread = count * stds[first_lean + j]
            lean[i, j] += spread * terms.of_own[f, i, own_columns + j]
    for j in range(own_columns):
        spread = count * stds[eye * own_columns + j]
        _add_column(
            noise,
            spread * terms.of_own[f, 0, j],
            spread * terms.of_own[f, 1, j],
            spread * terms.of_own[f, 2, j],
        )


@kernel
def _add_tags(f, count, frames, seen_tag, stds, first_tag, terms, of_tags):
    """Add to of_tags (T, 3, 7) what so many frames like f do with the constants of their tags."""
    for s in range(frames.first[f], frames.first[f] + frames.tag_count[f]):
        tag = seen_tag[s]
        for j in range(TAG_COLUMNS):
            spread = count * stds[first_tag + TAG_COLUMNS * tag + j]
            for i in range(3):
                of_tags[tag, i, j] += spread * terms.of_tag[s, i, j]


@kernel
def _write_cov(information, noise, cov):
    """Write P noise P (3, 3), P the inverse of the information; of both the lower half is read."""
    half, inverse = np.empty((3, 3)), np.empty((3, 3))
    xx, xy, xh, yy, yh, hh = inverse_of(
        information[0, 0],
        information[1, 0],
        information[2, 0],
        information[1, 1],
        information[2, 1],
        information[2, 2],
    )
    inverse[0, 0], inverse[0, 1], inverse[0, 2] = xx, xy, xh
    inverse[1, 0], inverse[1, 1], inverse[1, 2] = xy, yy, yh
    inverse[2, 0], inverse[2, 1], inverse[2, 2] = xh, yh, hh
    noise[0, 1], noise[0, 2], noise[1, 2] = noise[1, 0], noise[2, 0], noise[2, 1]
    for i in range(3):
        for j in range(3):
            total = 0.0
            for k in range(3):
                total += inverse[i, k] * noise[k, j]
            half[i, j] = total
    for i in range(3):
        for j in range(i + 1):
            total = 0.0
            for k in range(3):
                total += half[i, k] * inverse[k, j]
            cov[i, j] = cov[j, i] = total


@kernel
def write_standstill_covs(order, frames, seen_tag, terms, stds, prior_information, covs):
    """Write the mean square error (n, 3, 3) of the estimate at each of n places.

    Parameters
    ----------
    order : tuple of first (n + 1,), count (frames,), first_tag, first_lean
        Where each place's frames begin; how many frames like it are fused; where the constants of
        tags and chassis stand.
    frames, seen_tag, terms
        ``FusedFrames`` of ``study.linear_frames``, the tag of each sighting (S,), ``FrameTerms``.
    stds : (p,)
        Spreads of the constants.
    prior_information : (3,)
        Of x, y and heading on arrival.
    """
    first, counts, first_tag, first_lean = order
    information, noise = np.empty((3, 3)), np.empty((3, 3))
    lean, known = np.empty((3, 2)), np.empty(3)
    of_tags = np.zeros(((first_lean - first_tag) // TAG_COLUMNS, 3, TAG_COLUMNS))
    for place in range(len(covs)):
        information[:], noise[:], lean[:], known[:] = 0.0, 0.0, 0.0, 0.0
        for i in range(3):
            information[i, i] = noise[i, i] = prior_information[i]
        for f in range(first[place], first[place + 1]):
            sums = (information, noise, lean, known)
            _add_frame(f, counts[f], frames.eye[f], stds, first_lean, terms, sums)
            _add_tags(f, counts[f], frames, seen_tag, stds, first_tag, terms, of_tags)
        _add_column(noise, known[0], known[1], known[2])
        for j in range(2):
            _add_column(noise, lean[0, j], lean[1, j], lean[2, j])
        for tag in range(len(of_tags)):
            for j in range(TAG_COLUMNS):
                x, y, h = of_tags[tag, 0, j], of_tags[tag, 1, j], of_tags[tag, 2, j]
                if x != 0.0 or y != 0.0 or h != 0.0:
                    _add_column(noise, x, y, h)
                    of_tags[tag, 0, j] = of_tags[tag, 1, j] = of_tags[tag, 2, j] = 0.0
        _write_cov(information, noise, covs[place])
