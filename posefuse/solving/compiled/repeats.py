"""Compiled: how often a tag was seen in one place of the image."""

from posefuse.compiling import kernel

__all__ = ["write_repeats"]


@kernel
def write_repeats(corners_px, camera, tag, most_px, anchors, counts):
    """Write how many frames in a row have shown a tag where it is now, this one included.

    The row ends when the root mean square of its corners' way from the first of them exceeds
    ``most_px``.

    Parameters
    ----------
    corners_px, camera, tag : (S, 8), (S,), (S,)
        In order of capture.
    anchors : (cameras, tags, 9)
        Room, zero at first: corners at the beginning of a row, and the frames of it so far.
    """
    for s in range(len(camera)):
        anchor = anchors[camera[s], tag[s]]
        way = 0.0
        for q in range(8):
            way += (corners_px[s, q] - anchor[q]) ** 2
        if anchor[8] > 0.0 and way <= 4.0 * most_px * most_px:
            anchor[8] += 1.0
        else:
            anchor[8] = 1.0
            for q in range(8):
                anchor[q] = corners_px[s, q]
        counts[s] = anchor[8]
