"""The demo's two invented winters: what is written down, and that what was learned from it comes near the truth."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import UTC, date, datetime
from io import StringIO
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import numba
import numpy as np
import pytest
from rich.console import Console

from fruitwall.errors import JournalError
from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.learning.tolerances import Shift
from fruitwall.plants.catalogue import catalogue
from fruitwall.plants.injury import grade_chances
from fruitwall.plants.tolerance import prior
from fruitwall.service.house import House
from fruitwall.service.household import Household
from fruitwall.service.ledger import Deed, says
from fruitwall.service.two_winters import live_two_winters, true_tolerance, yard_texts
from fruitwall.service.two_winters_invented import COLDER_K, FORECAST_WARM_K, TOLD, YARD_NAME, Truth, truth
from fruitwall.service.two_winters_told import Told, changes, recovery, unexpected
from fruitwall.service.yards import check_yard_text
from fruitwall.speech import speaking
from fruitwall.weather.demo import demo_forcing, demo_now
from fruitwall.yard.demo import demo_yard

# ---------------------------------------------------------------- small parts


def test_each_autumn_has_a_yard_file_that_holds_and_the_youngest_trees_come_later():
    yards = {day.year: check_yard_text(text, "then.yaml").yard for day, text in yard_texts().items()}

    def trees(year):
        return {tree.id for tree in yards[year].trees}

    assert {yard.name for yard in yards.values()} == {YARD_NAME}
    assert trees(2026) == {tree.id for tree in demo_yard().trees}
    # Planted in April and May 2025, by the demo yard's file.
    assert trees(2026) - trees(2024) >= {"papaya", "soursop"}
    assert {"papaya", "soursop"} <= trees(2025)
    assert "soursop" not in yards[2024].shelters[0].trees


def test_a_young_tree_was_smaller_and_younger_and_an_old_one_was_not_smaller():
    then, now = (
        {tree.id: tree for tree in check_yard_text(text, "then.yaml").yard.trees}
        for day, text in yard_texts().items()
        if day.year in (2025, 2026)
    )
    assert then["canistel"].height_m == pytest.approx(0.88 * now["canistel"].height_m, abs=0.01)
    assert then["avocado-old"].height_m == now["avocado-old"].height_m
    assert then["feijoa"].age_years == pytest.approx(now["feijoa"].age_years - 1)


def test_the_truth_is_the_same_every_time_and_named_trees_have_what_is_written():
    assert truth() == truth()
    assert truth().shifts_k["avocado-mexicola"] == 1.4
    assert set(truth().shifts_k) == {tree.id for tree in demo_yard().trees}


def test_a_true_tolerance_is_the_believed_one_moved_and_without_doubt():
    believed = prior(catalogue().find("longan"), age_years=9.0, height_m=3.0, potted=False)
    true = true_tolerance(believed, 1.5)
    assert true.threshold_c[0] == pytest.approx(believed.threshold_c[0] + 1.5, nan_ok=True)
    # Half of such trees reach the grade at its limit: exactly one half once nothing but the spread within is left.
    cold = np.full((5, 5), 20.0)
    cold[0] = true.threshold_c[0, 2] + true.duration_k_per_log2h * np.log2([0.5, 1.0, 2.0, 4.0, 8.0])
    at_least = grade_chances(replace(true, pale_level_c=np.nan), cold)[2:].sum()
    supercooled = max(1.0 / -cold[0, 1] - 1.0, 0.0)
    assert supercooled == 0.0
    assert at_least == pytest.approx(0.5, abs=1e-6)


def taught_tree(name, shift, *, looks=1, prior_sd_k=2.0, evidence=None):
    evidence = evidence if evidence is not None else tuple(object() for _ in range(looks))
    return SimpleNamespace(tree=name, shift=shift, prior_sd_k=prior_sd_k, evidence=evidence)


def test_recovery_counts_only_trees_that_were_looked_at_and_tells_the_furthest_off():
    trees = {
        "near": taught_tree("near", Shift(-1.5, 0.5)),
        "wrong": taught_tree("wrong", Shift(-1.0, 0.5)),
        "vague": taught_tree("vague", Shift(-0.2, 1.9)),
        "unseen": taught_tree("unseen", Shift(3.0, 0.1), looks=0),
    }
    found = recovery(SimpleNamespace(trees=trees), Truth({"near": -2.0, "wrong": 1.0, "vague": 0.0, "unseen": 0.0}))
    assert (found.trees, found.within, found.much, found.nearer) == (3, 2, 2, 1)
    assert found.published_off_k == pytest.approx(np.sqrt((4.0 + 1.0) / 2))
    assert found.learned_off_k == pytest.approx(np.sqrt((0.25 + 4.0) / 2))
    assert found.worst.tree == "wrong"


def look(day, grade, expected):
    return SimpleNamespace(at=datetime(*day, tzinfo=UTC), grade=grade, expected=expected)


def test_looks_that_only_saw_old_damage_again_are_not_told():
    usual = (0.1, 0.2, 0.4, 0.2, 0.1, 0.0, 0.0, 0.0)
    first, again = look((2025, 1, 5), 2, usual), look((2025, 1, 19), 2, (0.97, 0.02, 0.01, 0, 0, 0, 0, 0))
    worse, next_winter = look((2025, 2, 1), 4, usual), look((2025, 12, 1), 1, usual)
    tree = taught_tree("a", Shift(0.0, 1.0), evidence=(first, again, worse, next_winter))
    assert unexpected(tree, 9) == [first, worse, next_winter]
    assert unexpected(tree, 1) == [worse]


def plan(**measures):
    trees = [
        SimpleNamespace(
            id=tree, name=tree, measure=measure, measure_name=measure, chance_of_harm={"nothing": 0.5, "chosen": 0.1}
        )
        for tree, measure in measures.items()
    ]
    return SimpleNamespace(trees=trees)


def test_only_trees_that_get_something_else_are_told():
    found = changes(plan(a="leave", b="cover", c="carry"), plan(c="leave", b="cover", a="cover"))
    assert [(one.tree, one.published, one.learned) for one in found] == [
        ("c", "carry", "leave"),
        ("a", "leave", "cover"),
    ]


def test_a_story_that_was_broken_off_is_not_taken_for_a_whole_one(tmp_path):
    with open_journal(tmp_path / "a.db") as journal:
        house = House(journal, YARD_NAME, demo_now, PhotoFolder(tmp_path))
        for day, text in list(yard_texts().items())[:1]:
            journal.store_yard(text, name=YARD_NAME, now=demo_now().replace(year=day.year), author="demo")
        with pytest.raises(JournalError, match="broken off"):
            live_two_winters(house)


# ---------------------------------------------------------------- the story itself


@pytest.fixture(scope="module")
def lived_house(tmp_path_factory):
    folder = tmp_path_factory.mktemp("winters")
    with open_journal(folder / "a.db") as journal:
        house = House(journal, YARD_NAME, demo_now, PhotoFolder(folder))
        live_two_winters(house)
        yield house


SOME = {"atemoya", "mango-seedling", "mango-grafted", "sapodilla", "avocado-mexicola", "pot-finger-lime"} | {
    f"pot-{kind}" for kind in ("acerola", "lemon", "mango", "sugar-apple")
}

story = pytest.mark.skipif(numba.config.DISABLE_JIT, reason="kernels are not compiled in this run (NUMBA_DISABLE_JIT)")


@story
@pytest.mark.slow
def test_the_household_is_written_down_as_one_and_says_that_it_is_invented(lived_house):
    entries = lived_house.ledger.current()
    kinds = Counter(one.kind for one in entries)
    assert kinds["sighting"] > 200
    assert kinds["deed"] > 100
    assert {one.author for one in entries} == {"Wendell (invented)", "Odalis (invented)"}
    nights = {deed.night for one in entries if isinstance(deed := says(one), Deed)}
    # They were away.
    assert not any(date(2024, 12, 20) <= night <= date(2025, 1, 3) for night in nights)
    assert lived_house.ledger.setting(TOLD) is not None
    before = len(entries)
    live_two_winters(lived_house)
    assert len(lived_house.ledger.current()) == before


@story
@pytest.mark.slow
def test_what_was_learned_comes_near_the_truth_and_changes_tonight(lived_house):
    from fruitwall.service.beliefs import beliefs_of
    from fruitwall.service.evening import plan_evening
    from fruitwall.service.taught import taught
    from fruitwall.service.two_winters_told import cold_spot_k, forecasts_off_k

    known, beliefs = taught(lived_house), beliefs_of(lived_house)
    assert beliefs.trouble == ()
    found = recovery(known, truth())
    # Ranges of nine chances in ten: of 34 fewer than 26 would be within with a chance of 0.3 % (binomial) if the trees
    # were independent; one seed, and the same every time.
    assert found.trees == 34
    assert found.within >= 26
    assert found.much >= 12
    assert found.nearer > 0.6 * found.much
    assert found.learned_off_k < 0.75 * found.published_off_k
    shifts = {name: one.shift.mean_k for name, one in known.trees.items()}
    assert shifts["avocado-mexicola"] > 0.5
    assert max(shifts["sapodilla"], shifts["canistel"], shifts["lychee-mauritius"], shifts["pot-acerola"]) < -0.4
    # What thermometers taught, within three of its own standard deviations and a tenth for the physics between.
    spot = cold_spot_k(beliefs)
    assert spot is not None
    assert abs(spot[0] + COLDER_K) < 3.0 * spot[1] + 0.1
    warm = forecasts_off_k(beliefs)
    assert warm is not None
    assert abs(warm + FORECAST_WARM_K) < 0.5

    # A plan for some of the trees, which takes a quarter of the time: the two frost blankets are wanted by more.
    yard = lived_house.yard()[0]
    some = [tree for tree in yard.trees if tree.id in SOME]
    yard = yard.model_copy(update={"trees": some, "shelters": []})
    plans = [
        plan_evening(yard, demo_forcing(), now=demo_now(), members=8, nights=1, beliefs=one) for one in (None, beliefs)
    ]
    different = {one.tree: (one.published, one.learned) for one in changes(*plans)}
    # One goes to where it gets colder than anybody thought, from a tree that stands more than is published.
    assert different["atemoya"][0] == "leave as it is"
    assert different["atemoya"][1].startswith("cover with frost blanket")
    assert different["mango-seedling"] == ("cover with frost blanket", "leave as it is")

    told = Told(known, truth(), beliefs, *plans)
    for heading in ("What the trees stand, before and after", "By which looks", "Held against the truth"):
        assert heading in laid_out(told)
    with speaking("es"):
        spanish = laid_out(told)
    assert "Comparado con la verdad" in spanish
    assert "is colder than" not in spanish
    assert "published" not in spanish


def laid_out(told):
    """Give the story as the terminal prints it."""
    from fruitwall.cli.demo_winters import story as story_of

    yard = demo_yard()
    out = StringIO()
    household = Household(yard.display, ZoneInfo(yard.location.time_zone))
    Console(file=out, width=100, highlight=False).print(story_of(told, household))
    return out.getvalue()
