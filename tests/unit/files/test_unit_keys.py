"""Units in the names of keys."""

import pytest

from posefuse.files.unit_keys import key_advice, spellings, with_main_units


def test_lengths_are_exact_where_the_inch_is() -> None:
    # 1 inch = 25.4 mm exactly (ISO 31-1)
    assert spellings("edge_m") == {
        "edge_m": 1.0,
        "edge_cm": 0.01,
        "edge_mm": 0.001,
        "edge_in": 0.0254,
    }


@pytest.mark.parametrize("key", ["m", "facing_deg", "speed_m_per_s", "noise_px", "id", "s"])
def test_keys_with_one_spelling(key: str) -> None:
    assert list(spellings(key)) == [key]


def test_what_is_no_number_is_left_for_the_schema() -> None:
    assert with_main_units({"a_cm": [1, "x", True, None]}, ["a_m"]) == {
        "a_m": [0.01, "x", True, None]
    }


def test_an_unknown_key_without_neighbours() -> None:
    assert key_advice("zzz", given=["zzz"], keys=[]) == ("unknown key; allowed: none", None)
