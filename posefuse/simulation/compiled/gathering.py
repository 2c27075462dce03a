"""Compiled: from what every frame may hold to the frames and sightings that arrived."""

from posefuse.compiling import kernel

__all__ = ["add_information", "count_kept", "gather_kept"]


@kernel
def count_kept(order, firsts, is_found):
    """How many sightings are found in the frames of ``order`` (kept,).

    firsts (F + 1,): where each frame's candidates begin; is_found (S,).
    """
    count = 0
    for f in order:
        for s in range(firsts[f], firsts[f + 1]):
            count += is_found[s]
    return count


@kernel
def gather_kept(order, firsts, is_found, ids_read, pixels, kept):
    """Write the found sightings in the order of their frames.

    ids_read, pixels (S,), (S, 4, 2) of the candidates; kept: frame, ids, values (count,), (count,),
    (count, 8) are written: the frame's place in ``order``, the id, the corners.
    """
    frame, ids, values = kept
    row = 0
    for place in range(len(order)):
        f = order[place]
        for s in range(firsts[f], firsts[f + 1]):
            if is_found[s]:
                frame[row] = place
                ids[row] = ids_read[s]
                for k in range(4):
                    values[row, 2 * k] = pixels[s, k, 0]
                    values[row, 2 * k + 1] = pixels[s, k, 1]
                row += 1


@kernel
def add_information(order, firsts, is_found, information, summed):
    """Add the information (S, 3, 3) of the found sightings into summed (kept, 3, 3), by frame."""
    for place in range(len(order)):
        f = order[place]
        for s in range(firsts[f], firsts[f + 1]):
            if is_found[s]:
                for i in range(3):
                    for j in range(3):
                        summed[place, i, j] += information[s, i, j]
