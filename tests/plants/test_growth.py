"""Stages of a kind by month, and the time from bloom to harvest."""

from __future__ import annotations

from datetime import date, timedelta
from math import isnan

import numpy as np
import pytest

from fruitwall.plants.catalogue import catalogue
from fruitwall.plants.growth import (
    DAYS_PER_MONTH,
    MIDDLE_SHARE_Z,
    Band,
    Window,
    bands_of,
    bloom_heat,
    bloom_hours,
    facts_of,
    fruit_time,
    harvest_window,
    learned_bloom,
    learned_time,
    next_time,
    parse_growth,
    reached_on,
)
from tests.published import find_check

KINDS = {
    "atemoya (bloom to ripe)": ("atemoya", "uf_smallfarms_sub"),
    "carambola (set to ripe)": ("carambola", "uf_smallfarms_trop"),
    "banana (bunch to ripe)": ("Musa acuminata", "uf_pinellas"),
    "low-chill peach (set to ripe, earliest)": ("peach", "uf_mg374"),
}


def test_published_lengths_stand_among_the_statements_with_their_source() -> None:
    check = find_check("phenology.yaml", "phenology.fruit_time")
    for fruit, (low, high) in zip(check.inputs["fruit"], check.expected["days"], strict=True):
        name, source = KINDS[fruit]
        time = fruit_time(name)
        assert time is not None
        (its,) = [one for one in time.statements if one.source.key == source]
        assert its.low == pytest.approx(low, rel=check.tolerance["rel"])
        if high is None:
            assert isnan(its.high)
        else:
            assert its.high == pytest.approx(high, rel=check.tolerance["rel"])
        assert time.low_days <= its.low
        assert time.low_days < time.mean_days < time.low_days + 4 * time.sd_days


def test_what_sources_disagree_in_stays_as_spread() -> None:
    mango, pome = fruit_time("mango"), fruit_time("pomegranate")
    assert mango is not None
    assert pome is not None
    assert mango.low_days == pytest.approx(2.0 * DAYS_PER_MONTH)
    assert mango.high_days == pytest.approx(4.9 * DAYS_PER_MONTH)
    assert mango.sd_days / mango.mean_days > 0.2
    assert pome.sd_days / pome.mean_days == pytest.approx(0.15)  # one figure alone


def test_a_kind_without_any_statement_has_no_time() -> None:
    assert fruit_time("finger lime") is not None  # of its genus
    assert fruit_time("Garcinia livingstonei") is None


def test_what_is_known_of_a_kind_goes_before_its_genus() -> None:
    lemon = fruit_time("lemon")
    assert lemon is not None
    assert {one.taxon for one in lemon.statements} == {"Citrus limon"}


@pytest.mark.parametrize(("latitude", "first", "last"), [(34.0, 12, 4), (-34.0, 6, 10)])
def test_months_shift_by_half_a_year_south_of_the_equator(latitude: float, first: int, last: int) -> None:
    (bloom,) = [one for one in bands_of(catalogue().find("mango"), latitude) if one.stage == "bloom"]
    assert (bloom.first_month, bloom.last_month, bloom.status) == (first, last, "read")


def test_a_kind_that_sheds_rests_in_the_cool_season_of_its_half_of_the_earth() -> None:
    north, south = (
        next(one for one in bands_of(catalogue().find("persimmon"), latitude) if one.stage == "dormant")
        for latitude in (40.0, -40.0)
    )
    assert north.holds(date(2026, 1, 15))
    assert not north.holds(date(2026, 7, 15))
    assert south.holds(date(2026, 7, 15))
    assert not any(one.stage == "dormant" for one in bands_of(catalogue().find("mango"), 34.0))


def test_every_kind_of_the_catalogue_gives_bands_with_possible_months() -> None:
    stages = set()
    for taxon in catalogue().taxa:
        for band in bands_of(taxon, 34.0):
            stages.add(band.stage)
            assert 1 <= band.first_month <= 12
            assert 1 <= band.last_month <= 12
    assert stages == {"dormant", "bloom", "flush", "harvest", "shedding"}


@pytest.mark.parametrize(
    ("on", "first", "last"),
    [
        (date(2026, 12, 23), date(2026, 12, 1), date(2027, 4, 30)),
        (date(2027, 2, 1), date(2026, 12, 1), date(2027, 4, 30)),
        (date(2027, 5, 1), date(2027, 12, 1), date(2028, 4, 30)),
    ],
)
def test_a_band_over_the_turn_of_the_year(on: date, first: date, last: date) -> None:
    assert next_time(Band("bloom", 12, 4, "read", ()), on) == (first, last)


def test_a_trees_own_years_pull_its_time_from_the_kinds() -> None:
    prior = fruit_time("mango")
    assert prior is not None
    kinds = learned_time(prior, [])
    once = learned_time(prior, [140.0])
    thrice = learned_time(prior, [140.0, 142.0, 138.0])
    assert kinds is not None
    assert once is not None
    assert thrice is not None
    assert kinds[0] == pytest.approx(prior.mean_days)
    assert kinds[1] == pytest.approx(prior.sd_days)
    assert prior.mean_days < once[0] < thrice[0] < 140.0
    assert kinds[1] > once[1] > thrice[1]
    # By hand: weight of n years n / (n + (year / tree)^2).
    year = 0.06 * prior.mean_days
    tree2 = prior.sd_days**2 - year**2
    weight = 1 / (1 + year**2 / tree2)
    assert once[0] == pytest.approx(weight * 140.0 + (1 - weight) * prior.mean_days)


def test_nothing_known_learns_nothing_and_one_own_year_stands_alone() -> None:
    assert learned_time(None, []) is None
    assert learned_time(None, [100.0]) == pytest.approx((100.0, 6.0 * 2**0.5))


def test_a_harvest_window_has_the_spread_of_bloom_and_time() -> None:
    day = date(2026, 3, 1)
    sharp = harvest_window(Window(day, day, day), (100.0, 10.0))
    wide = harvest_window(Window(day - timedelta(30), day, day + timedelta(30)), (100.0, 10.0))
    assert sharp.middle == wide.middle == day + timedelta(100)
    assert (sharp.last - sharp.middle).days == round(MIDDLE_SHARE_Z * 10)
    assert (wide.last - wide.middle).days == round((30**2 + (MIDDLE_SHARE_Z * 10) ** 2) ** 0.5)


def test_entered_blooms_draw_the_coming_one_to_the_trees_own_days() -> None:
    first, last = date(2027, 2, 1), date(2027, 4, 30)
    months = learned_bloom(first, last, [])
    once = learned_bloom(first, last, [date(2026, 2, 10)])
    thrice = learned_bloom(first, last, [date(2024, 2, 10), date(2025, 2, 10), date(2026, 2, 10)])
    assert (months.first, months.last) == (first, last)
    assert date(2027, 2, 10) < thrice.middle < once.middle < months.middle
    assert thrice.last - thrice.first < once.last - once.first < last - first
    # Over the turn of the year days are counted the short way round.
    winter = learned_bloom(date(2026, 12, 1), date(2027, 1, 31), [date(2025, 1, 5)])
    assert date(2026, 12, 25) < winter.middle < date(2027, 1, 10)


def test_heat_to_bloom_is_taken_for_the_very_cultivar_only() -> None:
    peach = catalogue().find("peach")
    springcrest = bloom_heat(peach, "Springcrest")
    assert springcrest is not None
    assert [one.low for one in springcrest] == [940.0, 3670.0]
    assert bloom_heat(peach, "Florida Prince") is None
    assert bloom_heat(peach, None) is None


def test_bloom_comes_of_warmth_after_rest_and_not_of_warmth_before_it() -> None:
    units = np.cumsum([-1.0] * 10 + [1.0] * 20 + [0.0] * 20)
    warmth = np.cumsum([9.0] * 10 + [1.0] * 20 + [5.0] * 20)
    at = bloom_hours(units, warmth, 20.0, 24.0)
    # Rest is over with the 30th hour; 5 hours of 5 make 25.
    assert at == 29 + 5
    assert bloom_hours(units, warmth, 21.0, 24.0) is None
    assert bloom_hours(units, warmth, 20.0, 101.0) is None


def test_a_sum_of_heat_is_reached_at_a_step_or_not_at_all() -> None:
    assert reached_on([1.0, np.nan, 2.0, 3.0], 3.0) == 2
    assert reached_on([1.0, 1.0], 3.0) is None
    with pytest.raises(ValueError, match="need must be greater"):
        reached_on([1.0], 0.0)


def test_every_statement_has_a_known_word_and_a_status() -> None:
    words = {"bloom", "harvest", "flush", "shedding", "fruit_time", "heat_to_bloom", "rest_end"}
    names = {one.scientific for one in catalogue().taxa}
    parts = names | {one.partition(" (")[0] for one in names} | {one.split()[0] for one in names}
    seen = set()
    for taxon in catalogue().taxa:
        for what in words:
            for fact in facts_of(taxon, what):
                seen.add(fact)
                assert fact.source.title
                assert fact.taxon in parts | {"(winter chill)", "(evergreen)"}
    assert len(seen) > 60
    assert {one.what for one in seen} == words


@pytest.mark.parametrize(
    "row",
    [
        "Prunus persica,bloom,0,4,month,,own_memory,,from_memory,",
        "Prunus persica,fruit_time,90,60,day,,own_memory,,from_memory,",
        "Prunus persica,bloom,2,4,week,,own_memory,,from_memory,",
        "Prunus persica,bloom,2,4,month,,nobody,,from_memory,",
    ],
)
def test_a_wrong_row_is_refused_by_its_number(row: str) -> None:
    head = "taxon,what,low,high,unit,place,source_key,locator,status,note"
    source = facts_of(catalogue().find("peach"), "bloom")[0].source
    with pytest.raises(ValueError, match="growth row 2"):
        parse_growth(f"{head}\n{row}\n", {"own_memory": source})
