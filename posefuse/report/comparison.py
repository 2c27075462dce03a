"""A comparison as one self-contained page."""

from datetime import datetime
from pathlib import Path

from posefuse.report.aim_wording import enough_sentence
from posefuse.report.camera_strip import strip_picture
from posefuse.report.comparison_wording import finding
from posefuse.report.decision_wording import decision_lines, headline
from posefuse.report.floor_pictures import expected_error_picture, hits_picture, tags_picture
from posefuse.report.glossary import CAUTION, COMPARISON_WORDS, HIT_WORDS
from posefuse.report.hits_section import (
    cost_sentence,
    hits_table,
    moving_sentence,
    moving_table,
    rivals_sentence,
)
from posefuse.report.page import command_text, write_page
from posefuse.report.picture import Picture
from posefuse.report.plan_pictures import box_picture, consistency_picture, rig_picture
from posefuse.report.run_pictures import court_picture, nis_picture, timeline_picture
from posefuse.report.tables import (
    comparison_table,
    counts_table,
    course_table,
    further_table,
    way_table,
)
from posefuse.report.tolerance_pictures import plans_tolerance_picture
from posefuse.report.wording import figure_header
from posefuse.study.comparison import Comparison
from posefuse.study.findings import Findings

__all__ = ["comparison_pictures", "write_comparison_report"]

_SOURCES = {
    "corners": "corners drawn from the detectors' response",
    "images": "corners found by the detector in rendered images",
}


def write_comparison_report(
    findings: Findings,
    path: Path,
    *,
    length_unit: str = "cm",
    made_at: datetime | None = None,
) -> None:
    """Writes the page: the decision, tables, pictures and what the words mean.

    Parameters
    ----------
    length_unit
        Of errors and rigs: m, cm, mm or in. Places on the floor are in metres, or in inches when
        the errors are.
    made_at
        The date on the page; ``None``: now.
    """
    comparison = findings.comparison
    has_hits = comparison.best_with_hits is not None
    ranking = comparison_table(comparison, length_unit=length_unit)
    write_page(
        path,
        "comparison.html",
        made_at=made_at,
        title=comparison.study.name,
        asked=_asked(comparison),
        command=_command(comparison),
        headline=headline(findings.decision),
        decision=decision_lines(findings.decision, length_unit),
        finding=finding(comparison, length_unit),
        warnings=comparison.warnings,
        ranking=ranking.without(figure_header("hits_difference_to_best_per_100")),
        courses=course_table(findings, length_unit=length_unit),
        way=way_table(findings, length_unit=length_unit),
        hits=hits_table(findings) if has_hits else None,
        shots_finding=_shots_finding(findings, length_unit),
        moving=moving_table(comparison),
        further=further_table(comparison, length_unit=length_unit),
        counts=counts_table(findings),
        glossary=COMPARISON_WORDS | (HIT_WORDS if has_hits else {}),
        caution=CAUTION,
        no_strip=findings.no_images,
        **comparison_pictures(findings, length_unit=length_unit),
    )


def _shots_finding(findings: Findings, length_unit: str) -> list[str]:
    """What the errors mean for the shots, a paragraph each."""
    comparison, room = findings.comparison, findings.room
    sentences = (
        cost_sentence(comparison),
        rivals_sentence(comparison),
        "" if room is None else enough_sentence(room.places_m, room.places_enough_m, length_unit),
        moving_sentence(comparison),
    )
    return [sentence for sentence in sentences if sentence]


def _asked(comparison: Comparison) -> str:
    study = comparison.study
    shots = sum(len(course.shots) for course in study.courses)
    plans, courses = len(study.plans), len(study.courses)
    return (
        f"Asked: which of {plans} camera mount plan{'s' * (plans > 1)} estimates the distance to "
        f"the goal most accurately in “{study.arena.name}”, over {courses} "
        f"course{'s' * (courses > 1)} with {shots} shots, {comparison.trials} "
        f"trial{'s' * (comparison.trials > 1)} each, seed {comparison.seed}, "
        f"{_SOURCES[study.sightings.value]}."
    )


def _command(comparison: Comparison) -> str:
    path = comparison.study.path
    if path is None:
        return ""
    words = (
        *("--trials", str(comparison.trials), "--seed", str(comparison.seed)),
        *("--sightings", comparison.study.sightings.value),
    )
    return command_text("posefuse", "compare", str(path), *words)


def comparison_pictures(
    findings: Findings, *, length_unit: str = "cm"
) -> dict[str, Picture | list[Picture] | None]:
    """Every picture of a comparison by its name; ``timelines`` are the best and the last plan's."""
    best = findings.trials[0]
    return {
        "boxes": box_picture(findings, length_unit=length_unit),
        "rigs": rig_picture(findings, length_unit=length_unit),
        "expected_error": expected_error_picture(findings, length_unit=length_unit),
        "tags_seen": tags_picture(findings, length_unit=length_unit),
        "tolerance": plans_tolerance_picture(findings, length_unit=length_unit),
        "hit_map": hits_picture(findings, length_unit=length_unit),
        "strip": None if findings.strip is None else strip_picture(findings.strip),
        "court": court_picture(best, length_unit=length_unit),
        "timelines": [
            timeline_picture(trial, name=name, length_unit=length_unit)
            for trial, name in zip(
                findings.trials, ("timeline_best", "timeline_last"), strict=False
            )
        ],
        "consistency": consistency_picture(findings),
        "nis": nis_picture(best),
    }
