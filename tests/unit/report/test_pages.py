"""The pages: whole, self-contained, escaped, readable without their pictures."""

import base64
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from datetime import datetime
from html.parser import HTMLParser
from pathlib import Path

import pytest

from made_decision import DECISION
from posefuse.report.comparison import write_comparison_report
from posefuse.report.decision_wording import decision_lines, headline
from posefuse.report.glossary import COMPARISON_WORDS
from posefuse.report.page import command_text
from posefuse.report.replay import write_replay_report
from posefuse.scoring.figures import FIGURES, OUTCOME_COUNTS
from posefuse.study.compare import compare
from posefuse.study.findings import Findings, findings_of
from posefuse.study.replay import replay
from posefuse.study.study import Study
from small_court import small_study, stored_drive

MADE_AT = datetime(2026, 3, 1, 12, 30)


class Page(HTMLParser):
    """What a browser would find."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words = ""
        self.open: list[str] = []
        self.html = path.read_text(encoding="utf-8")
        self.feed(self.html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in ("meta", "img", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.words += data

    @property
    def pictures(self) -> list[dict[str, str | None]]:
        return [attributes for tag, attributes in self.tags if tag == "img"]


def check_self_contained(page: Page) -> None:
    assert page.open == []
    ids = [attributes["id"] for _, attributes in page.tags if "id" in attributes]
    assert len(ids) == len(set(ids))
    tags = {tag for tag, _ in page.tags}
    assert not tags & {"script", "link", "iframe", "object", "embed", "b"}
    for _, attributes in page.tags:
        assert not any(name.startswith("on") for name in attributes)
        for name in ("src", "href"):
            assert (attributes.get(name) or "data:").startswith("data:")
    assert "url(" not in page.html
    assert "@import" not in page.html
    for picture in page.pictures:
        assert picture["alt"]
        svg = base64.b64decode(picture["src"].split(",", 1)[1]).decode("utf-8")
        links = re.findall(r'href="([^"]*)"', svg)
        assert all(link.startswith(("#", "data:image/png")) for link in links)
        assert ET.fromstring(svg).tag.endswith("svg")


@pytest.fixture(scope="module")
def page(findings: Findings, tmp_path_factory: pytest.TempPathFactory) -> Page:
    path = tmp_path_factory.mktemp("report") / "report.html"
    comparison = findings.comparison
    study = replace(comparison.study, path=Path("my court/<s>.toml"))
    named = replace(findings, comparison=replace(comparison, study=study))
    write_comparison_report(named, path, made_at=MADE_AT)
    return Page(path)


def test_page_is_whole_and_needs_nothing_else(page: Page) -> None:
    check_self_contained(page)
    names = [a["id"] for tag, a in page.tags if tag == "figure"]
    assert names == [
        "boxes", "rigs", "expected_error", "tags_seen", "court", "strip", "timeline_best",
        "timeline_last", "consistency", "nis",
    ]  # fmt: skip


def test_names_from_files_are_escaped(page: Page) -> None:
    assert "<study>" not in page.html
    assert "small <study> & more" in page.words
    assert "front <b>&amp;" in page.words
    assert "front &lt;b&gt;&amp;amp;" in page.html


def test_page_says_how_it_was_made_and_what_the_words_mean(page: Page) -> None:
    command = 'posefuse compare "my court/<s>.toml" --trials 3 --seed 7 --sightings corners'
    assert f"Reproduce with: {command}" in page.words
    assert "2026-03-01 12:30" in page.words
    for word in (
        "RMS",
        "NEES",
        "Forecast",
        "Attainable",
        "White-noise bound",
        "No recent update",
        "Tie",
    ):
        assert f"<dt>{word}</dt>" in page.html
    assert page.words.count("the supervising adult decide") == 1
    assert "nan" not in page.words.lower().split()


def test_page_opens_with_the_decision(findings: Findings, tmp_path: Path) -> None:
    made = replace(findings, decision=DECISION)
    write_comparison_report(made, tmp_path / "r.html", made_at=MADE_AT)
    page = Page(tmp_path / "r.html")
    lines = [("Choose", headline(DECISION)), *decision_lines(DECISION, "cm")]
    places = [page.words.index(text) for _, text in lines]
    assert places == sorted(places)
    assert places[-1] < page.words.index("Asked:") < page.words.index("The ranking")
    tables_end, first_picture = page.html.rindex("</table>"), page.html.index("<figure")
    assert tables_end < first_picture


def test_cells_are_labelled_for_pages_too_narrow_for_a_table(page: Page) -> None:
    labels = [attributes["data-label"] for tag, attributes in page.tags if tag == "td"]
    assert all(labels)
    assert {"distance error RMS (cm)", "half a round (cm)", "fused"} <= set(labels)
    scopes = {attributes["scope"] for tag, attributes in page.tags if tag == "th"}
    assert scopes == {"col", "row"}


def test_same_comparison_same_bytes(findings: Findings, tmp_path: Path) -> None:
    for name in ("one.html", "two.html"):
        write_comparison_report(findings, tmp_path / name, made_at=MADE_AT, length_unit="in")
    assert (tmp_path / "one.html").read_bytes() == (tmp_path / "two.html").read_bytes()
    assert "inch" in Page(tmp_path / "one.html").words


def page_of(study: Study, folder: Path) -> Page:
    made = findings_of(compare(study, workers=1), workers=1)
    write_comparison_report(made, folder / "r.html", made_at=MADE_AT)
    return Page(folder / "r.html")


def test_one_plan_and_no_shots(tmp_path: Path) -> None:
    study = small_study()
    course = replace(study.courses[0], shots=())
    lone = replace(study, plans=study.plans[:1], courses=(course,), trials=1)
    page = page_of(lone, tmp_path)
    check_self_contained(page)
    assert "over the whole courses" in page.words
    assert [a["id"] for tag, a in page.tags if tag == "figure"].count("timeline_best") == 1


def test_a_family_that_has_no_pictures_is_named(tmp_path: Path) -> None:
    study = small_study()
    tags = tuple(replace(tag, family="49h12") for tag in study.arena.tags)
    lone = replace(study, arena=replace(study.arena, tags=tags), plans=study.plans[:1], trials=1)
    page = page_of(lone, tmp_path)
    check_self_contained(page)
    assert "strip" not in [a["id"] for tag, a in page.tags if tag == "figure"]
    assert "images cannot be shown: OpenCV carries no tag family '49h12'" in page.words


def test_many_plans_with_long_names_on_many_courses(tmp_path: Path) -> None:
    study = small_study()
    plan, course = study.plans[0], study.courses[0]
    name = "a name far longer than anybody would wish to read in a picture or a table"
    many = replace(
        study,
        plans=tuple(replace(plan, name=f"{name}, number {n}") for n in range(14)),
        courses=tuple(replace(course, name=f"{name}, course {n}") for n in range(5)),
        trials=1,
    )
    page = page_of(many, tmp_path)
    check_self_contained(page)
    assert "The 2 plans that rank last are left out." in page.words


def test_a_floor_without_a_place_to_stand_has_no_map(tmp_path: Path) -> None:
    study = small_study()
    (bench, bar) = study.arena.obstacles
    wide = replace(bench, size_m=[30.0, 30.0, 0.01], centre_in_world_m=[4.5, 2.5, 0.005])
    full = replace(study, arena=replace(study.arena, obstacles=(wide, bar)), trials=1)
    page = page_of(full, tmp_path)
    check_self_contained(page)
    assert "expected_error" not in [a.get("id") for _, a in page.tags]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"name": "run <3>"}, "The error of the distance to the goal at the shots is"),
        ({"shots": None}, "The error of the distance to the goal over the whole run is"),
        ({"truth": None}, "The recording holds no true path, so no error is known."),
        ({"truth": None, "shots": None}, "The recording holds no true path"),
    ],
)
def test_replay_page_is_whole_with_and_without_truth(
    changes: dict, words: str, tmp_path: Path
) -> None:
    study = small_study()
    goal = None if "truth" in changes else study.goal.name
    played = replay(stored_drive(study, goal=goal, **changes))
    write_replay_report(
        played,
        tmp_path / "r.html",
        source=Path("runs/one"),
        settings_file=Path("my filter.toml"),
        made_at=MADE_AT,
    )
    page = Page(tmp_path / "r.html")
    check_self_contained(page)
    assert words in page.words
    assert played.trial.title in page.words
    assert 'Reproduce with: posefuse replay runs/one --settings "my filter.toml"' in page.words
    assert len(page.pictures) == 3


def test_words_with_blanks_stand_in_quotes() -> None:
    assert command_text("posefuse", "check", "a b.toml") == 'posefuse check "a b.toml"'


def test_the_glossary_explains_what_the_tables_are_headed() -> None:
    words = {word.lower() for word in COMPARISON_WORDS}
    for name in (
        "distance_forecast_rms_m",
        "distance_attainable_rms_m",
        "distance_bound_rms_m",
        "difference_to_best_m",
        "no_update_share",
        "nees_mean",
    ):
        assert FIGURES[name].header.lower() in words
    headers = [*OUTCOME_COUNTS.values(), FIGURES["dropped_frame_count"].header]
    assert set(headers) - {"fused"} <= words
