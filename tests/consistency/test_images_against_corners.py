"""The corner level against the image level: the same filter error, the same ranking of plans.

Both runs share the build, the wheels, the start and the lateness of every frame; what differs is
whether corners are drawn from the measured response or found in rendered images.
"""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import posefuse as pf
from posefuse.simulation.scene import SightingSource
from posefuse.simulation.simulate import simulate
from posefuse.study.comparison import Comparison

STUDY = Path(__file__).parents[2] / "datasets" / "orchard" / "images.toml"
TRIALS = 3
MOST_APART = 0.15


def course_rms_m(comparison: Comparison, plan: str, course: str) -> float:
    """Distance to the goal over the whole course, RMS over the trials."""
    cards = comparison.trials_of(plan, course).cards
    return float(np.sqrt(np.mean([card.whole_course.distance_m.rms**2 for card in cards])))


@pytest.mark.slow
def test_images_and_corners_agree(tell: Callable[[str], None]) -> None:
    study = pf.load_study(STUDY)
    seen, drawn = (
        pf.compare(replace(study, sightings=source), trials=TRIALS)
        for source in (SightingSource.IMAGES, SightingSource.CORNERS)
    )
    tell(f"distance to the goal, RMS in cm over {TRIALS} trials of 30 s: images, corners, ratio")
    for course in study.courses:
        of_plans = {}
        for plan in study.plans:
            by_images, by_corners = (
                course_rms_m(each, plan.name, course.name) for each in (seen, drawn)
            )
            ratio = by_corners / by_images
            tell(
                f"  {course.name}, {plan.name}: {100 * by_images:.2f}, {100 * by_corners:.2f}, "
                f"{ratio:.2f}"
            )
            assert abs(ratio - 1.0) < MOST_APART
            of_plans[plan.name] = (by_images, by_corners)
        first, second = of_plans.values()
        assert (first[0] < second[0]) == (first[1] < second[1])
    assert [row.plan for row in seen.ranking] == [row.plan for row in drawn.ranking]


def test_as_many_tags_are_found_in_images_as_are_drawn() -> None:
    """A sample of the above for every day: the first seconds of all courses together.

    One course alone shows little: a tag on the verge of being found is found in all of a
    standstill's images or in none.
    """
    study = pf.load_study(STUDY)
    found = {}
    for source in (SightingSource.IMAGES, SightingSource.CORNERS):
        chosen = replace(study, sightings=source)
        plan = chosen.plan("four corners")
        scenes = [pf.plan_scene(chosen, plan, course.first(2.0)) for course in chosen.courses]
        found[source] = sum(
            len(simulate(scene, seed=1, trial=0, workers=2).sightings.id) for scene in scenes
        )
    assert found[SightingSource.IMAGES] == pytest.approx(found[SightingSource.CORNERS], rel=0.1)
    assert found[SightingSource.IMAGES] > 300
