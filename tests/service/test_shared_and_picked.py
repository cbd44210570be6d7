"""A plan in which two pots share a sheet, fruit is picked, and nothing but these can be done."""

from __future__ import annotations

import pytest

from fruitwall.service.evening import plan_evening
from fruitwall.service.evening_document import EveningPlan
from fruitwall.service.outlook import TRIFLE_K
from fruitwall.weather.demo import demo_forcing, demo_now
from fruitwall.yard.demo import demo_yard
from fruitwall.yard.model import Cover, Gear

PAIR = ("pot-mango", "pot-finger-lime")


@pytest.fixture(scope="module")
def plan() -> EveningPlan:
    """Two pots moved close together before the house, a guava in fruit, and one large sheet."""
    yard = demo_yard()
    guava = next(tree for tree in yard.trees if tree.id == "guava")
    pots = [next(tree for tree in yard.trees if tree.id == id_) for id_ in PAIR]
    sheet = Cover(id="big", name="Big fleece", material="fleece_heavy", width_m=7, length_m=7, on_frame=True)
    place = {PAIR[0]: (20.0, 10.0), PAIR[1]: (21.0, 10.0)}
    small = yard.model_copy(
        update={
            "trees": [
                guava.model_copy(update={"pickable": True, "fruit_worth": 300.0, "fruit_mass_kg": 15.0}),
                *(pot.model_copy(update={"position": place[pot.id]}) for pot in pots),
            ],
            "gear": Gear(covers=[sheet]),
            "indoor_places": [],
            "shelters": [],
            "structures": [],
        }
    )
    return plan_evening(small, demo_forcing(), now=demo_now(), members=8, nights=2)


def test_two_pots_get_the_one_sheet(plan: EveningPlan) -> None:
    got = {tree.id: tree.measure for tree in plan.trees}
    assert got[PAIR[0]] == got[PAIR[1]] == f"together:{PAIR[0]}+{PAIR[1]}:fleece_heavy/frame"
    covering = [task for task in plan.tasks if task.what.startswith("Cover")]
    assert [task.trees for task in covering] == [list(PAIR)]
    assert all("big" in tree.gear for tree in plan.trees if tree.id in PAIR)


def test_the_shared_sheet_keeps_both_warmer(plan: EveningPlan) -> None:
    for tree in plan.trees:
        if tree.id in PAIR:
            assert tree.tissue_min_c["chosen"].p50 > tree.tissue_min_c["nothing"].p50 + TRIFLE_K


def test_fruit_is_picked_and_the_tree_itself_is_as_cold_as_before(plan: EveningPlan) -> None:
    (guava,) = [tree for tree in plan.trees if tree.id == "guava"]
    assert guava.measure == "pick"
    assert guava.fruit_lost["chosen"] == 0.0 < guava.fruit_lost["nothing"]
    assert guava.tissue_min_c["chosen"] == guava.tissue_min_c["nothing"]
    assert "picking saves the fruit" in guava.reason
    assert any(task.what.startswith("Pick the fruit of") for task in plan.tasks)
