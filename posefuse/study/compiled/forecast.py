"""Compiled: the linear pass along the true path, with what the filter believes and what is true.

Carried along: what the filter believes, P (3, 3); the covariance of the white part of its error, W
(3, 3); the sensitivity S (3, p), how far the estimate is off for one unit of each constant; what is
off without chance, known (3,); and for each camera the covariance X (3, 3) of the error with its
persistent scatter of spread one. With A, B, C, k as in ``study.compiled.frame_terms``::

    step    P = F P F' + Q      W = F W F' + Qtrue      S = F S + D
    frame   P+ = (P^-1 + A)^-1      S+ = P+ (P^-1 S + B)      W+ = P+ (P^-1 W P^-1 + C) P+

Frames are taken in the order of capture. The estimate at a shot knows only those that had arrived:
it starts from the last row that all of them left untouched. Sources: P. S. Maybeck, Stochastic
Models, Estimation, and Control, vol. 1, 1979, ch. 6; A. Gelb (ed.), Applied Optimal Estimation,
1974, ch. 7 (both from memory).
"""

import numpy as np

from posefuse.compiling import inlined_kernel, kernel
from posefuse.solving.compiled.frame_sums import OWN_COLUMNS, TAG_COLUMNS
from posefuse.study.compiled.roots import lower_root

__all__ = ["run_forecast"]


@inlined_kernel
def _transport(matrix, a, b):
    """Turn matrix (3, 3) into F matrix F', F = [[1, 0, a], [0, 1, b], [0, 0, 1]]."""
    for j in range(3):
        matrix[0, j] += a * matrix[2, j]
        matrix[1, j] += b * matrix[2, j]
    for i in range(3):
        matrix[i, 0] += a * matrix[i, 2]
        matrix[i, 1] += b * matrix[i, 2]


@kernel
def _step(states, at, k, steps):
    """Carry state ``at`` to row k from the one before; steps: ``LinearSteps``."""
    believed, white, sensitivity = states.believed[at], states.white[at], states.sensitivity[at]
    known, mixed = states.known[at], states.mixed[at]
    a, b = steps.levers[k, 0], steps.levers[k, 1]
    _transport(believed, a, b)
    believed[0, 0] += steps.believed_vars[k, 0]
    believed[1, 1] += steps.believed_vars[k, 0]
    believed[2, 2] += steps.believed_vars[k, 1]
    _transport(white, a, b)
    for i in range(3):
        for j in range(3):
            white[i, j] += steps.true_covs[k, i, j]
    for j in range(sensitivity.shape[1]):
        sensitivity[0, j] += a * sensitivity[2, j]
        sensitivity[1, j] += b * sensitivity[2, j]
    first = sensitivity.shape[1] - steps.slopes.shape[2]
    for i in range(3):
        for j in range(steps.slopes.shape[2]):
            sensitivity[i, first + j] += steps.slopes[k, i, j]
    known[0] += a * known[2] + steps.known[k, 0]
    known[1] += b * known[2] + steps.known[k, 1]
    known[2] += steps.known[k, 2]
    for c in range(len(mixed)):
        for j in range(3):
            mixed[c, 0, j] += a * mixed[c, 2, j]
            mixed[c, 1, j] += b * mixed[c, 2, j]


@kernel
def _fuse(states, at, f, frames, terms, views, first_tag, first_lean):
    """Correct state ``at`` by frame f."""
    believed, white, sensitivity = states.believed[at], states.white[at], states.sensitivity[at]
    known, mixed = states.known[at], states.mixed[at]
    keep, after = np.empty((3, 3)), np.empty((3, 3))
    root, pulled, noise = np.empty((3, 3)), np.empty((3, 3)), np.empty((3, 3))
    _keep(believed, terms.information[f], keep)
    _times(keep, believed, after)
    own, own_columns = frames.eye[f] * (OWN_COLUMNS - 2), OWN_COLUMNS - 2
    for j in range(sensitivity.shape[1]):
        x, y, h = sensitivity[0, j], sensitivity[1, j], sensitivity[2, j]
        for i in range(3):
            sensitivity[i, j] = keep[i, 0] * x + keep[i, 1] * y + keep[i, 2] * h
    for i in range(3):
        for a in range(3):
            for j in range(own_columns):
                sensitivity[i, own + j] += after[i, a] * terms.of_own[f, a, j]
            for j in range(2):
                sensitivity[i, first_lean + j] += after[i, a] * terms.of_own[f, a, own_columns + j]
    for s in range(frames.first[f], frames.first[f] + frames.tag_count[f]):
        column = first_tag + TAG_COLUMNS * views.tag[s]
        for i in range(3):
            for j in range(TAG_COLUMNS):
                sensitivity[i, column + j] += (
                    after[i, 0] * terms.of_tag[s, 0, j]
                    + after[i, 1] * terms.of_tag[s, 1, j]
                    + after[i, 2] * terms.of_tag[s, 2, j]
                )
    x, y, h = known[0], known[1], known[2]
    for i in range(3):
        known[i] = keep[i, 0] * x + keep[i, 1] * y + keep[i, 2] * h
        for a in range(3):
            known[i] += after[i, a] * terms.known[f, a]
    # persistent scatter: its root leads from a unit of each camera's own to the information
    eye, share = frames.eye[f], terms.repeats[f]
    lower_root(terms.persistent[f], root)
    _times(after, root, pulled)
    for c in range(len(mixed)):
        _times_in_place(keep, mixed[c], noise)
    for i in range(3):
        for j in range(3):
            mixed[eye, i, j] *= share
            noise[i, j] = terms.white[f, i, j] + terms.persistent[f, i, j]
    _squeeze(keep, white)
    _squeeze(after, noise)
    for i in range(3):
        for j in range(3):
            cross = 0.0
            for a in range(3):
                cross += mixed[eye, i, a] * pulled[j, a] + pulled[i, a] * mixed[eye, j, a]
            white[i, j] += noise[i, j] + cross
    for i in range(3):
        for j in range(3):
            mixed[eye, i, j] += pulled[i, j]
            believed[i, j] = 0.5 * (after[i, j] + after[j, i])


@kernel
def _keep(covariance, information, keep):
    """Write (I + P A)^-1 (3, 3), by the adjugate."""
    t = np.empty((3, 3))
    for i in range(3):
        for j in range(3):
            total = 1.0 if i == j else 0.0
            for a in range(3):
                total += covariance[i, a] * information[a, j]
            t[i, j] = total
    for i in range(3):
        a, b = (i + 1) % 3, (i + 2) % 3
        for j in range(3):
            c, d = (j + 1) % 3, (j + 2) % 3
            keep[j, i] = t[a, c] * t[b, d] - t[a, d] * t[b, c]
    scale = 1.0 / (t[0, 0] * keep[0, 0] + t[0, 1] * keep[1, 0] + t[0, 2] * keep[2, 0])
    for i in range(3):
        for j in range(3):
            keep[i, j] *= scale


@inlined_kernel
def _times(left, right, product):
    """Write left times right, all (3, 3)."""
    for i in range(3):
        for j in range(3):
            product[i, j] = (
                left[i, 0] * right[0, j] + left[i, 1] * right[1, j] + left[i, 2] * right[2, j]
            )


@inlined_kernel
def _times_in_place(left, right, scratch):
    """Turn right into left times right, all (3, 3)."""
    _times(left, right, scratch)
    for i in range(3):
        for j in range(3):
            right[i, j] = scratch[i, j]


@kernel
def _squeeze(left, middle):
    """Turn middle into left middle left', all (3, 3)."""
    half = np.empty((3, 3))
    _times(left, middle, half)
    for i in range(3):
        for j in range(3):
            middle[i, j] = (
                half[i, 0] * left[j, 0] + half[i, 1] * left[j, 1] + half[i, 2] * left[j, 2]
            )


@kernel
def _copy(states, place, to):
    """Copy a state of the table to another place of it.

    Number by number: to assign whole arrays compiles for seconds.
    """
    for i in range(3):
        states.known[to, i] = states.known[place, i]
        for j in range(3):
            states.believed[to, i, j] = states.believed[place, i, j]
            states.white[to, i, j] = states.white[place, i, j]
            for c in range(states.mixed.shape[1]):
                states.mixed[to, c, i, j] = states.mixed[place, c, i, j]
        for j in range(states.sensitivity.shape[2]):
            states.sensitivity[to, i, j] = states.sensitivity[place, i, j]


@kernel
def run_forecast(states, steps, frames, views, terms, order, places, shots):
    """Write the state at every shot, as it stood then.

    Parameters
    ----------
    states
        ``LinearStates`` of ``study.forecast``: one for each shot, to be written; then the start's,
        which is carried along.
    steps, frames, views, terms
        See ``study.linear_frames``.
    order : tuple of first (rows + 1,), arrival (frames,)
        Where each row's frames begin; the row at which each is known.
    places : tuple of ints
        First row; columns at which the tags' and the chassis' constants begin.
    shots : tuple of row (k,), base (k,)
        Rows of the shots; the last row that no frame still awaited belongs to or precedes, rising.
    """
    first_of, arrival = order
    first_row, first_tag, first_lean = places
    shot_row, shot_base = shots
    shot, now = 0, len(shot_row)
    for k in range(first_row - 1, len(steps.levers)):
        if k > first_row:
            _step(states, now, k, steps)
        if k >= first_row:
            for f in range(first_of[k], first_of[k + 1]):
                _fuse(states, now, f, frames, terms, views, first_tag, first_lean)
        while shot < len(shot_row) and max(shot_base[shot], first_row - 1) == k:
            _copy(states, now, shot)
            for row in range(k + 1, shot_row[shot] + 1):
                if row > first_row:
                    _step(states, shot, row, steps)
                for f in range(first_of[row], first_of[row + 1]):
                    if arrival[f] <= shot_row[shot]:
                        _fuse(states, shot, f, frames, terms, views, first_tag, first_lean)
            shot += 1
