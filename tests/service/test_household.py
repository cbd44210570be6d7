"""How one household reads."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from fruitwall.service.household import NO_BREAK, Household, number, percent
from fruitwall.speech import speaking
from fruitwall.yard.model import Display

ZONE = ZoneInfo("America/Los_Angeles")
FAHRENHEIT = Household(Display(temperature="F", length="ft"), ZONE)
CELSIUS = Household(Display(), ZONE)


@pytest.mark.parametrize(
    ("text", "read"),
    [
        ("stands −4.0 °C for an hour", "stands 25 °F for an hour"),
        ("stands -4 °C", "stands 25 °F"),
        ("spread 2.0 K between sources", "spread 4 °F between sources"),
        ("no Key lime here", "no Key lime here"),
    ],
)
def test_sentences_from_below_are_read_in_the_households_units(text: str, read: str) -> None:
    assert FAHRENHEIT.in_own_units(text).replace("\N{NO-BREAK SPACE}", " ") == read
    assert CELSIUS.in_own_units(text) == text


def test_a_mass_from_below_has_the_decimal_mark_of_the_language() -> None:
    pounds = Household(Display(mass="lb"), ZONE)
    with speaking("es"):
        assert pounds.in_own_units("levanta 3.5 kg").replace(NO_BREAK, " ") == "levanta 7,7 lb"


@pytest.mark.parametrize(("share", "read"), [(0, "0 %"), (0.004, "under 1 %"), (0.996, "over 99 %"), (1, "100 %")])
def test_what_is_possible_is_never_called_impossible(share: float, read: str) -> None:
    assert percent(share).replace("\N{NO-BREAK SPACE}", " ") == read


def test_a_margin_just_below_zero_never_reads_as_zero_spare() -> None:
    assert CELSIUS.margin_number(-0.2) == "\N{MINUS SIGN}1"
    assert "short" in CELSIUS.margin(-0.2)


def test_bare_differences_carry_their_sign() -> None:
    assert CELSIUS.bare_difference(1.25) in {"+1.2", "+1.3"}
    assert CELSIUS.bare_difference(-1.0) == "\N{MINUS SIGN}1.0"
    assert FAHRENHEIT.bare_difference(0.1) == "0"


@pytest.mark.parametrize(
    ("value", "decimals", "english", "spanish"),
    [(1651.46, 1, "1,651.5", "1651,5"), (12651, 0, "12,651", f"12{NO_BREAK}651"), (-0.02, 1, "0.0", "0,0")],
)
def test_a_bare_number_has_the_marks_of_its_language(value, decimals, english, spanish):
    assert number(value, decimals) == english
    with speaking("es"):
        assert number(value, decimals) == spanish


def test_a_range_that_rounds_to_one_figure_is_told_once():
    assert FAHRENHEIT.temperatures(-1.9, -1.4) == f"29{NO_BREAK}°F"
    assert FAHRENHEIT.temperatures(-1.9, 0.0) == f"29 to 32{NO_BREAK}°F"


def test_small_differences_keep_a_decimal_in_either_unit() -> None:
    assert FAHRENHEIT.fine_difference(-0.2) == "0.4\N{NO-BREAK SPACE}°F"
    assert CELSIUS.fine_difference(0.2) == "0.2\N{NO-BREAK SPACE}K"
    assert FAHRENHEIT.bare_fine_difference(-0.2) == "\N{MINUS SIGN}0.4"
    assert FAHRENHEIT.bare_fine_difference(0.01) == "0.0"
    assert CELSIUS.bare_fine_difference(1.0) == "+1.0"


def test_what_is_half_a_year_old_is_told_with_its_year() -> None:
    moment = datetime(2025, 11, 24, 17, 5, tzinfo=UTC)
    assert "2025" not in CELSIUS.moment(moment)
    assert "2025" not in CELSIUS.moment(moment, moment + timedelta(days=30))
    assert "2025" in CELSIUS.moment(moment, moment + timedelta(days=300))
