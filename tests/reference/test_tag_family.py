"""The bits of drawn tags against the published code list, and its Hamming distance.

Published: the first code words of 36h11, 587 codes, distance 11 (E. Olson, "AprilTag: A robust and
flexible visual fiducial system", ICRA 2011; its authors' file ``tag36h11.c``: fields ncodes, h,
codes, bit_x, bit_y). The order of the bits in a word is the spiral of that file's bit lists.
"""

import numpy as np
import pytest

from posefuse.arena.placement import FAMILY_SIZES
from posefuse.errors import InputError
from posefuse.rendering.tag_pictures import tag_cells, tag_picture

CODE_WORDS = (0xD7E00984B, 0xDDA664CA7, 0xDC4A1C821, 0xE17B470E9)
# one quarter of the spiral, as (x, y) from 1 to 6; the others are it turned by 90 degrees
QUARTER = ((1, 1), (2, 1), (3, 1), (4, 1), (5, 1), (2, 2), (3, 2), (4, 2), (3, 3))


def spiral() -> list[tuple[int, int]]:
    places, quarter = [], list(QUARTER)
    for _ in range(4):
        places += quarter
        quarter = [(7 - y, x) for x, y in quarter]
    return places


def code_bits(id: int) -> np.ndarray:
    """The 6 x 6 white cells of a tag as its own detector stands it: turned by half a turn."""
    return np.rot90(tag_cells("36h11", id)[2:-2, 2:-2], 2)


def word(bits: np.ndarray) -> int:
    value = 0
    for x, y in spiral():
        value = value << 1 | int(bits[y - 1, x - 1])
    return value


def test_first_code_words() -> None:
    assert tuple(word(code_bits(id)) for id in range(4)) == CODE_WORDS


def test_border_and_margin() -> None:
    for family in FAMILY_SIZES:
        cells = tag_cells(family, 0)
        assert cells[[0, -1]].all()
        assert cells[:, [0, -1]].all()
        ring = cells[1:-1, 1:-1]
        assert not ring[[0, -1]].any()
        assert not ring[:, [0, -1]].any()


def test_hamming_distance_of_the_family() -> None:
    turns = [[np.rot90(code_bits(id), turn).ravel() for id in range(587)] for turn in range(4)]
    upright, *turned = (np.array(codes, dtype=np.int32) for codes in turns)

    def distances(one: np.ndarray, other: np.ndarray) -> np.ndarray:
        return (one @ (1 - other).T) + ((1 - one) @ other.T)

    between = [distances(upright, other) for other in (upright, *turned)]
    np.fill_diagonal(between[0], 99)
    own = min(int(np.diag(one).min()) for one in between[1:])
    for one in between[1:]:
        np.fill_diagonal(one, 99)
    assert min(int(one.min()) for one in between) == 11
    assert own == 12  # computed from the published list


def test_ids_and_families_beyond_the_list_are_refused() -> None:
    with pytest.raises(
        InputError, match=r"tag id: the family 36h11 has the ids 0 to 586 \(got 587"
    ):
        tag_cells("36h11", 587)
    with pytest.raises(InputError, match="OpenCV carries no tag family '12h3'; it has: 16h5"):
        tag_cells("12h3", 0)
    with pytest.raises(InputError, match=r"side_px: .* 36h11 is 8 cells wide .* \(got 7\)"):
        tag_picture("36h11", 0, 7)


def test_a_picture_shows_the_cells() -> None:
    picture = tag_picture("25h9", 3, 70)
    centres = picture[5::10, 5::10] > 127
    np.testing.assert_array_equal(centres, tag_cells("25h9", 3)[1:-1, 1:-1])
