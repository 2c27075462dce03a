"""Arena files: what they become, and every way they can be wrong."""

import math
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.testing import assert_allclose

from posefuse.arena.arena import Arena, Tag, tag_pose
from posefuse.arena.load import load_arena
from posefuse.arena.placement import FAMILY_SIZES, cells_across, placement_faults
from posefuse.errors import FileError

DEMO = Path(__file__).parents[3] / "fieldlayouts" / "orchard_court.toml"
HEAD = 'name = "yard"\nlength_m = 10\nwidth_m = 5\ntag_family = "36h11"\ntag_edge_mm = 160\n'


def load(tmp_path: Path, text: str) -> Arena:
    path = tmp_path / "yard.toml"
    path.write_text(text, encoding="utf-8")
    return load_arena(path)


def faults_of(tmp_path: Path, text: str) -> list[str]:
    with pytest.raises(FileError) as caught:
        load(tmp_path, text)
    return str(caught.value).replace(str(tmp_path / "yard.toml"), "yard.toml").split("\n")


def tag(number: int = 0, place: str = "[0, 2, 1]", facing: float = 0, more: str = "") -> str:
    return f"[[tag]]\nid = {number}\nposition_m = {place}\nfacing_deg = {facing}\n{more}"


def box(centre: str, size: str = "[0.4, 0.4, 2]", more: str = "") -> str:
    return f'[[obstacle]]\nname = "post"\ncentre_m = {centre}\nsize_m = {size}\n{more}'


def test_every_family_that_opencv_carries_is_known_with_its_size() -> None:
    carried, cells = {}, {}
    for name in dir(cv2.aruco):
        if name.startswith("DICT_"):
            dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, name))
            plain = name.lower().removeprefix("dict_").removeprefix("apriltag_")
            family = plain.removeprefix("aruco_")
            carried[family] = len(dictionary.bytesList)
            cells[family] = dictionary.markerSize + 2  # and a border of one cell
    assert carried.items() <= FAMILY_SIZES.items()
    assert {family: cells_across(family) for family in FAMILY_SIZES}.items() >= cells.items()


def test_a_tag_too_small_for_its_cells_is_reported_where_its_edge_is_written(
    tmp_path: Path,
) -> None:
    slip = HEAD.replace("160", "0.16")  # metres, under a key in millimetres
    message = "must be 4 mm or more, else the 8 x 8 cells of a 36h11 tag are too small to be shown"
    one, other = tag(), tag(1, "[0, 3, 1]", more="edge_mm = 150\n")
    assert faults_of(tmp_path, slip + one + other + tag(2, "[0, 4, 1]")) == [
        f"yard.toml:5: tag_edge_mm: {message} (got 0.16 mm)"
    ]
    assert faults_of(tmp_path, HEAD + tag(more="edge_m = 0.0035\n")) == [
        f"yard.toml:10: tag.1.edge_m: {message} (got 3.5 mm)"
    ]
    assert load(tmp_path, HEAD + tag(more="edge_mm = 4\n")).tags[0].edge_m == 0.004


def test_the_demo() -> None:
    arena = load_arena(DEMO)
    assert (arena.length_m, arena.width_m) == (13.2, 6.6)
    assert [t.id for t in arena.tags] == list(range(12))
    assert [t.edge_m for t in arena.tags] == pytest.approx([0.15] * 12)
    for goal, end in (("north crate", 13.2), ("south crate", 0.0)):
        centre = arena.goal(goal).centre_in_world_m
        assert abs(centre[0] - end) <= 0.5
        assert centre[1] == arena.width_m / 2
    # what hangs on a wall or a post stands in front of it: nothing touches its view
    normals = np.array([t.world_from_tag.matrix[:3, 2] for t in arena.tags])
    assert_allclose(normals[:, 2], 0.0, atol=1e-12)


def test_what_a_file_becomes(tmp_path: Path) -> None:
    arena = load(
        tmp_path,
        HEAD
        + tag(7, "[9.9, 2, 1.2]", 180, "tilt_deg = 10\nfamily = '25h9'\nedge_cm = 20\n")
        + '[[goal]]\nname = "bin"\ncentre_m = [9.5, 2.5, 1]\nwidth_in = 40\nheight_m = 0.5\n'
        + "facing_deg = 180\ntilt_deg = 20\n"
        + box("[5, 2, 1]", more="heading_deg = 45\nblocks_course = false\n")
        + "[[beacon]]\nid = 3\nposition_m = [-20, 30, 1]\n",
    )
    (seen,) = arena.tags
    assert (seen.id, seen.family, seen.edge_m) == (7, "25h9", pytest.approx(0.2))
    c, s = math.cos(math.radians(10)), math.sin(math.radians(10))
    # the face looks back along x and 10 degrees up; its right-hand side, for the viewer, is -y
    assert_allclose(
        seen.world_from_tag.matrix[:3, :3], [[0, s, -c], [-1, 0, 0], [0, c, s]], atol=1e-12
    )
    (goal,) = arena.goals
    assert (goal.width_m, goal.height_m) == (pytest.approx(1.016), 0.5)
    assert (goal.facing_rad, goal.tilt_rad) == (math.pi, pytest.approx(math.radians(20)))
    (post,) = arena.obstacles
    assert (post.heading_rad, post.blocks_course) == (pytest.approx(math.pi / 4), False)
    assert_allclose(arena.beacons[0].position_in_world_m, [-20, 30, 1])


@pytest.mark.parametrize(
    "text",
    [
        tag(0, "[-0.009, 2, 1]"),  # a survey is good to about a centimetre
        tag(0, "[10, 0.04, 1]", 180, "edge_mm = 60\n"),  # in a corner, along the wall
        tag(0, "[4.8, 2, 1]", 180) + box("[5, 2, 1]"),  # on the face of a post
        tag(0, "[5, 2, 1]", 180) + box("[5.2, 2, 1]", "[0.4, 0.05, 2]"),  # wider than its post
        box("[10, 2, 1]"),  # half in the wall
    ],
)
def test_what_is_allowed(tmp_path: Path, text: str) -> None:
    load(tmp_path, HEAD + text)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (tag(3) + tag(3, "[10, 2, 1]", 180), "11: tag.2.id: 3 is used by tag.1 already"),
        (
            box("[5, 2, 1]") + box("[7, 2, 1]"),
            "11: obstacle.2.name: 'post' is used by obstacle.1 already",
        ),
        (
            tag(0, "[0, 4.95, 1]"),
            "8: tag.1.position_m: the tag is outside the arena: y is 0 to 5 m "
            "(a corner is at 5.03)",
        ),
        (
            tag(0, "[1050, 200, 100]").replace("position_m", "position_cm"),
            "8: tag.1.position_cm: the tag is outside the arena: x is 0 to 10 m "
            "(a corner is at 10.5)",
        ),
        (
            tag(0, "[0, 2, 0.05]"),
            "8: tag.1.position_m: the tag reaches below the floor (a corner is at z = -0.03 m)",
        ),
        (
            tag(0, facing=180),
            "9: tag.1.facing_deg: the tag faces into the wall x = 0 that it hangs on",
        ),
        (
            tag(0, "[10, 2, 1]", 5),
            "9: tag.1.facing_deg: the tag faces into the wall x = 10 that it hangs on",
        ),
        (
            tag(0, "[3, 4.97, 1]", 90),
            "9: tag.1.facing_deg: the tag faces into the wall y = 5 that it hangs on",
        ),
        (
            tag(0, "[3, 0, 1]", -90),
            "9: tag.1.facing_deg: the tag faces into the wall y = 0 that it hangs on",
        ),
        (
            tag(0, "[5, 2, 1]") + box("[5, 2, 1]"),
            "8: tag.1.position_m: the tag is inside the obstacle 'post'",
        ),
        (
            tag(0, "[4.8, 2, 1]", 0) + box("[5, 2, 1]"),
            "9: tag.1.facing_deg: the tag faces into the obstacle 'post'",
        ),
        (
            tag(0, "[4.71, 2, 1]", 0) + box("[5, 2, 1]", more="heading_deg = 45\n"),
            "9: tag.1.facing_deg: the tag faces into the obstacle 'post'",
        ),
        (
            tag(0, more='family = "99h1"\n'),
            "10: tag.1.family: unknown family; must be one of 36h11, 36h10, 25h9, 16h5, mip_36h12, "
            "original, 4x4_50, 4x4_100, 4x4_250, 4x4_1000, 5x5_50, 5x5_100, 5x5_250, 5x5_1000, "
            "6x6_50, 6x6_100, 6x6_250, 6x6_1000, 7x7_50, 7x7_100, 7x7_250, 7x7_1000 (got '99h1')",
        ),
        (tag(587), "7: tag.1.id: the family 36h11 has the ids 0 to 586 (got 587)"),
        (
            tag(30, more='family = "16h5"\n'),
            "7: tag.1.id: the family 16h5 has the ids 0 to 29 (got 30)",
        ),
        (tag(-1), "7: tag.1.id: must be greater than or equal to 0 (got -1)"),
        (tag(0, more="edge_m = 0\n"), "10: tag.1.edge_m: must be greater than 0 (got 0)"),
        (
            tag(0, more="tilt_deg = 91\n"),
            "10: tag.1.tilt_deg: must be less than or equal to 90 (got 91)",
        ),
        (
            box("[5, 2, 1]", "[0.4, -0.4, 2]"),
            "9: obstacle.1.size_m.2: must be greater than 0 (got -0.4)",
        ),
        (
            box("[5, 2, 0]"),
            "8: obstacle.1.centre_m: reaches below the floor (its underside is at z = -1 m): "
            "centre_m is the middle of the box",
        ),
        (
            box("[5, 6, 1]"),
            "8: obstacle.1.centre_m: its middle is outside the arena: x is 0 to 10 m, y is 0 to "
            "5 m (got 5, 6)",
        ),
        (
            '[[goal]]\nname = "bin"\ncentre_m = [9.5, 0.3, 1]\nwidth_m = 1\nheight_m = 0.5\n'
            "facing_deg = 180\n",
            "8: goal.1.centre_m: the opening is outside the arena: y is 0 to 5 m "
            "(a corner is at -0.2)",
        ),
        (
            '[[goal]]\nname = "bin"\ncentre_m = [9.5, 2, 0.2]\nwidth_m = 1\nheight_m = 0.5\n'
            "facing_deg = 180\n",
            "8: goal.1.centre_m: the opening reaches below the floor (a corner is at z = -0.05 m)",
        ),
        (
            '[[goal]]\nname = "bin"\ncentre_m = [9.5, 2, 1]\nwidth_m = -1\nheight_m = 0.5\n'
            "facing_deg = 180\n",
            "9: goal.1.width_m: must be greater than 0 (got -1)",
        ),
        ("[[beacon]]\nid = 1\n", "6: beacon.1.position_m: missing, and must be given (or "),
    ],
)
def test_each_fault_is_reported_in_one_line(tmp_path: Path, text: str, message: str) -> None:
    (fault,) = faults_of(tmp_path, HEAD + text)
    assert fault.startswith(f"yard.toml:{message}")
    assert message.endswith(" (or ") or fault == f"yard.toml:{message}"


def test_a_size_no_tag_states(tmp_path: Path) -> None:
    head = HEAD.replace("tag_edge_mm = 160\n", "").replace('tag_family = "36h11"\n', "")
    assert faults_of(tmp_path, head + tag()) == [
        "yard.toml:4: tag.1.family: missing: give it here, or tag_family for all tags",
        "yard.toml:4: tag.1.edge_m: missing: give it here, or tag_edge_m for all tags",
    ]


def test_an_unknown_family_for_all_tags_is_reported_once(tmp_path: Path) -> None:
    head = HEAD.replace("36h11", "36h12")
    assert faults_of(tmp_path, head + tag(0) + tag(1, "[0, 3, 1]")) == [
        "yard.toml:4: tag_family: unknown family; did you mean '36h11'? (got '36h12')"
    ]


def test_every_fault_is_reported(tmp_path: Path) -> None:
    text = HEAD + tag(0, "[0, 9, 1]") + tag(1, facing=180) + box("[5, 2, 0]")
    assert [fault.split(": ")[1] for fault in faults_of(tmp_path, text)] == [
        "tag.1.position_m",
        "tag.2.facing_deg",
        "obstacle.1.centre_m",
    ]


def test_a_arena_built_by_hand_obeys_the_same_rules() -> None:
    strange = Tag(
        id=0,
        family="99h1",
        edge_m=0.1,
        world_from_tag=tag_pose(np.array([0.0, 2.0, 1.0]), facing_rad=math.pi),
    )
    arena = Arena(name="yard", length_m=10.0, width_m=5.0, tags=(strange,))
    assert [place for place, _ in placement_faults(arena)] == [
        ("tag", 0, "family"),
        ("tag", 0, "facing_deg"),
    ]
