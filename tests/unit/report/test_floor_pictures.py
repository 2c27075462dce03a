"""What the maps of the floor say of themselves."""

from dataclasses import replace

import pytest

from posefuse.report.floor_pictures import expected_error_picture
from posefuse.study.findings import Findings

NEITHER, CONSIDERS, ESTIMATES = (False, False), (True, False), (False, True)


def with_filters(findings: Findings, **knows: tuple[bool, bool]) -> Findings:
    """The same maps, of filters that know otherwise of the build: by the plans' first words."""
    maps = {}
    for plan, one in findings.floor_maps.items():
        considers, estimates = knows[plan.split()[0]]
        maps[plan] = replace(one, considers_build=considers, estimates_build=estimates)
    return replace(findings, floor_maps=maps)


@pytest.mark.parametrize(
    ("front", "three", "says", "is_silent_on"),
    [
        (NEITHER, NEITHER, [], ["considers errors", "estimates errors"]),
        (
            NEITHER,
            CONSIDERS,
            ["The filter of “three ways” considers errors of the build:"],
            ["estimates errors"],
        ),
        (
            ESTIMATES,
            CONSIDERS,
            [
                "The filter of “three ways” considers errors of the build:",
                "The filter of “front <b>&amp;” estimates errors of the build; shown is the "
                "least error that one standstill allows it before it has learned anything of its "
                "own build.",
            ],
            [],
        ),
    ],
)
def test_the_caption_says_what_each_filter_knows_of_the_build(
    findings: Findings, front, three, says, is_silent_on
) -> None:
    picture = expected_error_picture(with_filters(findings, front=front, three=three))
    assert all(text in picture.caption for text in says)
    assert not any(text in picture.caption for text in is_silent_on)
