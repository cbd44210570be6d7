"""Winter chill of trees: sums at their own spot, dates over courses, holes told and not filled."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from numpy.typing import NDArray

from fruitwall.plants.catalogue import catalogue
from fruitwall.plants.chill import chill_portions, chilling_hours, growing_degree_hours
from fruitwall.plants.chill_needs import ChillNeed, TreeNeeds, needs_of
from fruitwall.service import chill_ledger as ledger
from fruitwall.service.chill_document import ChillSeason, TreeChill
from fruitwall.service.chill_season import (
    chill_part,
    need_words,
    notices,
    sources,
    verdict,
    when_words,
    yard_table,
)
from fruitwall.service.household import Household
from fruitwall.service.spot_hours import Felt, SpotHours
from fruitwall.speech import speaking
from fruitwall.yard.file import parse_yard
from fruitwall.yard.model import Display, Yard
from tests.published import FOLDER

Array = NDArray[np.float64]

SINCE = datetime(2026, 10, 1, 7, tzinfo=UTC)
UNTIL = datetime(2027, 6, 1, 7, tzinfo=UTC)
ZONE = ZoneInfo("America/Los_Angeles")
CELSIUS = Household(Display(temperature="C"), ZONE)
FAHRENHEIT = Household(Display(temperature="F"), ZONE)
REAL = np.genfromtxt(FOLDER.parent / "data" / "chill" / "greensboro.csv", delimiter=",", names=True)["t_c"]
MET_H = int((chill_portions(REAL) >= 8.0).argmax()) + 1
"""Hours until the peach has its eight portions."""

PLUM = needs_of(catalogue().find("plum"), "Segundo")
PEACH = needs_of(catalogue().find("peach"), "Flordaprince")


def spot(air_c: Array, first: datetime = SINCE, *, twig_c: Array | None = None) -> SpotHours:
    """Hours of a tree of which only temperatures matter."""
    air_c = np.atleast_2d(air_c)
    rest = np.full(air_c.shape, np.nan)
    twigs = np.atleast_2d(twig_c) if twig_c is not None else rest
    done = Felt(air_c=air_c, leaf_c=rest, twig_c=twigs, wood_c=rest, fruit_c=rest, root_c=rest)
    hours = np.arange(air_c.shape[1]) + 1
    begin = np.datetime64(first.replace(tzinfo=None), "s")
    return SpotHours(
        tree="peach",
        time_utc=begin + hours * np.timedelta64(3600, "s"),
        done=done,
        alone=Felt(**dict.fromkeys(Felt.__annotations__, air_c + 50.0)),  # must not be read
        t_air_c=air_c - 50.0,
        t_dew_c=rest,
        wind_m_s=rest,
        cloud=rest,
        rain_mm=rest,
        open_sun_w_m2=rest,
        sun_w_m2=rest,
        wind_here_m_s=rest,
        known=np.isfinite(air_c[0]),
        n_past=air_c.shape[1],
        n_forecast=0,
    )


def yard(*lines: str, kinds: str = "") -> Yard:
    trees = "\n".join(f"  - {{{line}, height: 3 m, crown_diameter: 2 m}}" for line in lines)
    return parse_yard(
        "fruitwall: 1\nname: Chill\n"
        "location: {latitude: 33.92, longitude: -117.22, elevation: 500, time_zone: America/Los_Angeles}\n"
        f"outline: [[0, 0], [20, 0], [20, 20], [0, 20]]\ngear_store: [1, 1]\n{kinds}trees:\n{trees}\n"
    )


THREE = (
    "id: peach, name: Peach, taxon: peach, cultivar: Flordaprince, position: [5, 5]",
    "id: plum, name: Plum, taxon: plum, position: [9, 5]",
    "id: lemon, name: Lemon, taxon: lemon, position: [9, 9]",
)
A_PEACH = yard(*THREE).trees[0]


def one(
    past: Array | None, coming: Array | None = None, needs: TreeNeeds = PEACH, twig_c: Array | None = None
) -> TreeChill:
    ahead = None
    if coming is not None:
        begin = SINCE + timedelta(hours=0 if past is None else np.atleast_2d(past).shape[1])
        ahead = spot(coming, begin)
    return ledger.tree_chill(A_PEACH, needs, None if past is None else spot(past, twig_c=twig_c), ahead)


def season(*trees: TreeChill, now: datetime = SINCE + timedelta(days=60), **changes: Any) -> ChillSeason:
    whole: dict[str, Any] = {
        "winter": "2026/27", "since": SINCE, "until": UNTIL, "now": now, "coming_until": UNTIL, "courses": 20,
        "trees": list(trees), "without_need": ["Lemon"],
    }  # fmt: skip
    return ChillSeason(**whole | changes)


def test_sums_and_the_date_are_those_of_the_air_at_the_tree_as_it_was_kept() -> None:
    tree = one(REAL[:1500], twig_c=REAL[:1500] - 1.0)
    assert tree.sums["portions"] == chill_portions(REAL[:1500])[-1]
    assert tree.sums["hours"] == chilling_hours(REAL[:1500])[-1]
    assert tree.portions_at_bud == chill_portions(REAL[:1500] - 1.0)[-1]
    assert (tree.hours, tree.known_hours) == (1500, 1500)
    assert abs(MET_H - 637) <= 1  # row 636 of the check "chill.series.greensboro.met_on", an hour more or less
    met = tree.needs[0].at_low
    assert met.met == SINCE + timedelta(hours=MET_H)
    assert tree.warmth_k_h == pytest.approx(growing_degree_hours(REAL[MET_H:1500])[-1], rel=1e-12)
    assert tree.past[-1].value == tree.sums["portions"]
    assert [day.at for day in tree.past][:2] == [SINCE + timedelta(days=4), SINCE + timedelta(days=8)]


def test_what_comes_goes_on_from_what_is_over_without_a_jump() -> None:
    whole = chill_portions(REAL)
    warm = np.full(REAL.size - 500, 25.0)
    courses = np.stack([REAL[500:], *[warm] * 3])
    tree = one(REAL[:500], courses)
    met = tree.needs[0].at_low
    assert (met.met, met.chance) == (None, 0.25)
    assert met.p10 == SINCE + timedelta(hours=MET_H)  # that of the only course that gets there
    assert (met.p50, met.p90) == (None, None)
    assert one(REAL[:500], REAL[500:]).coming[-1].value == whole[-1]
    last = tree.coming[-1]
    assert last.low == whole[499]
    assert last.high is not None
    assert whole[499] < last.high < whole[-1]


def test_dates_of_many_courses_are_the_tenth_the_middle_and_the_ninth() -> None:
    # Ten courses that reach a level after 1, 2 … 10 hours.
    coming = (np.arange(1, 13)[None, :] >= np.arange(1, 11)[:, None]).astype(float)
    times = np.datetime64(SINCE.replace(tzinfo=None), "s") + np.arange(1, 13) * np.timedelta64(3600, "s")
    met = ledger.when_met(1.0, np.zeros(3), times[:3], coming, times)
    assert [met.p10, met.p50, met.p90] == [SINCE + timedelta(hours=hour) for hour in (1, 5, 9)]
    assert met.chance == 1.0
    nine = ledger.when_met(1.0, np.zeros(3), times[:3], coming * (np.arange(10) < 9)[:, None], times)
    assert (nine.chance, nine.p90) == (0.9, SINCE + timedelta(hours=9))
    eight = ledger.when_met(1.0, np.zeros(3), times[:3], coming * (np.arange(10) < 8)[:, None], times)
    assert (eight.chance, eight.p90) == (0.8, None)
    assert ledger.when_met(1.0, np.zeros(3), times[:3], None, times[:0]).chance is None


def test_missing_hours_are_counted_and_nothing_is_put_in_their_place() -> None:
    holed = REAL[:1500].copy()
    holed[200:900] = np.nan
    tree = one(holed)
    assert (tree.hours, tree.known_hours) == (1500, 800)
    assert 0.0 < tree.sums["portions"] < one(REAL[:1500]).sums["portions"]
    assert tree.portions_at_bud is None
    told = season(tree)
    row = yard_table(told, CELSIUS).rows[0]
    assert row[2].startswith("at least ")
    assert row[3].startswith("by ")
    assert row[3].endswith(" at the latest")
    text = " ".join(notices(told, CELSIUS))
    assert "Of every tree the temperature of 800 of 1,500 hours" in text
    assert "at least" in text
    whole = season(one(REAL[:1500]))
    assert "at least" not in " ".join([*notices(whole, CELSIUS), *yard_table(whole, CELSIUS).rows[0]])


def test_without_weather_no_tree_is_dropped_and_nothing_is_claimed() -> None:
    tree = one(None)
    assert (tree.hours, tree.past, tree.coming, tree.warmth_k_h) == (0, [], [], None)
    assert verdict(season(tree), CELSIUS).startswith("No weather of this winter is known")
    assert len(yard_table(season(tree), CELSIUS).rows) == 1


def test_the_verdict_tells_enough_perhaps_and_not_yet() -> None:
    plum = one(REAL[:500], REAL[500:], PLUM).model_copy(update={"name": "Plum"})
    some = one(REAL[:1500], None, needs_of(catalogue().find("peach"))).model_copy(update={"name": "Any peach"})
    unknown = one(REAL[:1500], None, TreeNeeds("unknown")).model_copy(update={"name": "Pawpaw"})
    own = TreeNeeds("own", (ChillNeed("portions", 5.0, 80.0, ()),))
    partly = one(REAL[:1500], None, own).model_copy(update={"name": "Our peach"})
    text = verdict(season(one(REAL[:1500]), some, plum, unknown, partly), CELSIUS)
    assert "by the lowest figure for it, not by the highest: Our peach." in text
    assert "Enough winter chill: Peach." in text
    assert "not for all: Any peach." in text
    assert "Not enough yet: Plum. Next: Plum, likely " in text
    assert text.endswith("How much they need is not known: Pawpaw.")
    assert yard_table(season(unknown), CELSIUS).rows[0][1] == "unknown"
    assert "without a date" in " ".join(notices(season(unknown), CELSIUS))
    assert verdict(season(), CELSIUS) == "No tree of this yard needs winter chill."
    assert (notices(season(), CELSIUS), sources(season())) == ([], [])


def test_when_is_said_by_what_is_known() -> None:
    def says(**changes: Any) -> str:
        return when_words(met, season(**changes), CELSIUS).replace("\N{NO-BREAK SPACE}", " ")

    met = one(REAL[:500]).needs[0].at_low
    assert says() == "not yet"
    assert says(now=UNTIL) == "not this winter"
    met = one(REAL[:500], np.full(300, 25.0)).needs[0].at_low
    assert says() == "not by Mon 31 May"
    met = one(REAL[:500], REAL[500:]).needs[0].at_low
    assert says() == "likely Tue 27 Oct"
    met = one(REAL[:500], np.stack([REAL[500:900], np.full(400, 25.0)])).needs[0].at_low
    assert says() == "not sure: chance 50 % by Mon 31 May"
    # The hour that ends at midnight belongs to the day before.
    met = met.model_copy(update={"met": SINCE})
    assert says() == "since Wed 30 Sep"


def test_what_is_not_known_of_the_weather_to_come_is_said() -> None:
    tree = one(REAL[:500])
    assert "Nothing is known of the weather to come" in " ".join(notices(season(tree, courses=0), CELSIUS))
    soon = season(tree, coming_until=SINCE + timedelta(days=70))
    assert "The forecast ends on Wed 9 Dec" in " ".join(notices(soon, CELSIUS))
    assert "are 3 courses" in " ".join(notices(season(tree, courses=3), CELSIUS))
    assert not any("course" in line for line in notices(season(tree), CELSIUS))
    assert not any("weather to come" in line for line in notices(season(tree, courses=0, now=UNTIL), CELSIUS))


def test_a_tree_that_may_not_get_enough_is_warned_of() -> None:
    tree = one(REAL[:500], np.stack([REAL[500:900], *[np.full(400, 25.0)] * 2]))
    assert "Peach may well not get enough" in " ".join(notices(season(tree), CELSIUS))
    assert "may well" not in " ".join(notices(season(one(REAL[:500], REAL[500:])), CELSIUS))


def test_needs_are_written_in_the_readers_degrees_and_language() -> None:
    plum = one(REAL[:500], None, PLUM).needs[0]
    assert need_words(plum, CELSIUS).replace("\N{NO-BREAK SPACE}", " ") == "400 to 500 hours from 0.0 to 7.2 °C"
    assert need_words(plum, FAHRENHEIT).replace("\N{NO-BREAK SPACE}", " ") == "400 to 500 hours from 32 to 45 °F"
    cold, warm = (yard_table(season(one(REAL[:1500])), reader).rows[0][5] for reader in (CELSIUS, FAHRENHEIT))
    assert float(warm.replace(",", "")) == pytest.approx(1.8 * float(cold.replace(",", "")), rel=1e-3)
    with speaking("es"):
        assert need_words(plum, CELSIUS).startswith("400 a 500 horas de 0,0")
        assert "Frío invernal suficiente" in verdict(season(one(REAL[:1500])), CELSIUS)


def test_every_source_of_a_need_is_named() -> None:
    named = sources(season(one(REAL[:1500]), one(REAL[:1500], None, needs_of(catalogue().find("peach")))))
    text = " ".join(named)
    assert "University of California" in text
    assert "Fishman" in text
    assert "(authors" not in text
    assert len(named) == len(set(named))
    fig = one(REAL[:500], None, needs_of(catalogue().find("fig")))
    assert "The need of Peach stands from memory" in " ".join(notices(season(fig), CELSIUS))
    katy = one(REAL[:500], None, needs_of(catalogue().find("apricot"), "Katy"))
    assert "The need of Peach is told by nurseries only" in " ".join(notices(season(katy), CELSIUS))


def test_an_own_kind_says_what_it_needs() -> None:
    kinds = (
        "kinds:\n  - {id: ours, names: [Our peach], like: peach, chill_portions: [20, 15], chill_hours: [250]}\n"
        "  - {id: other, names: [Other peach], like: peach}\n"
    )
    place = yard("id: a, name: A, taxon: ours, position: [5, 5]", kinds=kinds)
    assert ledger.own_needs(place, "ours") == (
        ChillNeed("portions", 15.0, 20.0, ()), ChillNeed("hours_below", 250.0, 250.0, ())
    )  # fmt: skip
    assert ledger.own_needs(place, "other") == ()


def test_the_season_of_a_yard_is_worked_out_once_and_told_as_a_part(monkeypatch: pytest.MonkeyPatch) -> None:
    place = yard(*THREE)
    asked: list[tuple[str, datetime, datetime]] = []

    def past(_house: object, since: datetime, until: datetime) -> dict[str, SpotHours]:
        asked.append(("past", since, until))
        return {name: spot(REAL[:2000]) for name in ("peach", "plum", "lemon")}

    def coming(_house: object, until: datetime) -> dict[str, SpotHours]:
        asked.append(("coming", UNTIL, until))
        ahead = spot(np.stack([REAL[2000:], REAL[2000:] + 1.0]), SINCE + timedelta(hours=2000))
        return {name: replace(ahead, n_forecast=48) for name in ("peach", "plum", "lemon")}

    monkeypatch.setattr("fruitwall.service.spot_hours.season_hours", past)
    monkeypatch.setattr("fruitwall.service.spot_hours.coming_hours", coming)
    journal = SimpleNamespace(state=lambda: (1,), weather_state=lambda: (2,))
    house: Any = SimpleNamespace(
        journal=journal,
        clock=lambda: SINCE + timedelta(hours=2000, minutes=5),
        yard=lambda: (place, SimpleNamespace(yard="Chill")),
    )
    part = chill_part(house, CELSIUS)
    assert chill_part(house, FAHRENHEIT).document is part.document
    assert asked == [("past", SINCE, UNTIL), ("coming", UNTIL, UNTIL)]
    document = part.document
    assert isinstance(document, ChillSeason)
    assert [tree.tree for tree in document.trees] == ["peach", "plum"]
    assert (document.winter, document.without_need, document.courses) == ("2026/27", ["Lemon"], 2)
    assert document.forecast_until == SINCE + timedelta(hours=2048)
    assert part.table is not None
    assert part.table.trees == ("peach", "plum")
    assert all(len(row) == len(part.table.columns) for row in part.table.rows)
    assert part.tasks == ()
    assert ChillSeason.model_validate_json(document.model_dump_json()) == document
