"""How cold comes about, as it is told: the parts sum up, in the document and on paper."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fruitwall.physics.contributions import PARTS, Chain
from fruitwall.service.evening import plan_evening
from fruitwall.service.evening_document import ColdExplained, ColdPart, EveningPlan
from fruitwall.service.explained import REST, _explained, cold_rows, cold_title
from fruitwall.service.household import MINUS, Household
from fruitwall.weather.demo import demo_forcing, demo_now
from fruitwall.yard.model import Display
from tests.service.test_evening import some_of_the_demo

ZONE = ZoneInfo("America/Los_Angeles")
IN_C, IN_F = (Household(Display(temperature=degree), ZONE) for degree in ("C", "F"))
WORDS = {key: (key.capitalize(), "") for key in (*PARTS, REST)}


@pytest.fixture(scope="module")
def plan() -> EveningPlan:
    return plan_evening(some_of_the_demo(), demo_forcing(), now=demo_now(), members=16, nights=1)


def number(text: str) -> float:
    """Read a number as shown."""
    return float(text.replace(MINUS, "-"))


def explained(kelvins: dict[str, float], station_c: float = -3.0, *, done: float | None = None) -> ColdExplained:
    """Build an explanation of these parts, and of a cover."""
    parts = [ColdPart(key=k, label=k, kelvin=v, p10_k=v, p90_k=v) for k, v in kelvins.items()]
    alone = station_c + sum(kelvins.values())
    if done is not None:
        parts.append(ColdPart(key="cover", label="Cover", kelvin=done, p10_k=done - 1, p90_k=done + 1, note="fleece"))
    return ColdExplained(
        tissue="leaf", hours=1.0, station_c=station_c, parts=parts, alone_c=alone, end_c=alone + (done or 0.0)
    )


def test_every_tree_of_a_plan_is_explained_and_its_parts_sum_up(plan: EveningPlan) -> None:
    for tree in plan.trees:
        cold = tree.cold
        assert cold is not None
        assert cold.station_c + sum(part.kelvin for part in cold.parts) == pytest.approx(cold.end_c, abs=1e-9)
        assert cold.tissue == tree.tissue
        keys = [part.key for part in cold.parts]
        assert len(keys) == len(set(keys))
        assert "sky" in keys


def test_the_explanation_ends_where_the_plan_does(plan: EveningPlan) -> None:
    for tree in plan.trees:
        assert tree.cold is not None
        assert tree.cold.alone_c == pytest.approx(tree.tissue_min_c["nothing"].p50, abs=1e-9)
        chosen = tree.tissue_min_c["chosen"]
        assert chosen.p10 - 0.5 <= tree.cold.end_c <= chosen.p90 + 0.5
        assert (tree.cold.alone_c == tree.cold.end_c) == (tree.measure == "leave")


def test_leaves_that_suffer_by_chill_are_explained_over_eight_hours(plan: EveningPlan) -> None:
    hours = {tree.id: tree.cold.hours for tree in plan.trees if tree.cold is not None}
    assert hours["pot-lemon"] == 1.0
    assert set(hours.values()) <= {1.0, 8.0}


@given(
    st.lists(st.floats(-6.0, 6.0), min_size=1, max_size=8),
    st.floats(-20.0, 20.0),
    st.none() | st.floats(0.0, 9.0),
    st.sampled_from([IN_C, IN_F]),
)
def test_what_is_shown_adds_up_on_paper(
    kelvins: list[float], station: float, done: float | None, household: Household
) -> None:
    keys = ["offset", "hollow", "height", "sky", "wind", "canopy", "roof", "walls"]
    rows = cold_rows(explained(dict(zip(keys, kelvins, strict=False)), station, done=done), household)

    told = number(rows[0].value)
    for row in rows[1:]:
        if row.kind == "part":
            told = round(told + number(row.change), 1)
        assert number(row.value) == pytest.approx(told, abs=1e-9)


def test_differences_in_fahrenheit_have_no_offset() -> None:
    row = cold_rows(explained({"sky": -5.0}, 0.0), IN_F)[1]
    assert (row.change, row.value) == (f"{MINUS}9.0", "23.0")
    assert cold_title(explained({}), IN_F) == "How the coldest hour of its leaves comes about (°F)"


def test_a_tree_left_alone_has_one_total_and_a_covered_one_two() -> None:
    alone = cold_rows(explained({"sky": -5.0}), IN_C)
    covered = cold_rows(explained({"sky": -5.0}, done=3.0), IN_C)

    assert [row.kind for row in alone] == ["start", "part", "total"]
    assert [row.label for row in covered if row.kind == "total"] == ["Leaves, left alone", "Leaves, with the plan"]
    assert (covered[-2].change, covered[-2].span, covered[-2].note) == ("+3.0", "+2.0 to +4.0", "fleece")


def test_small_parts_of_the_surroundings_are_told_together_without_losing_any() -> None:
    steps = np.array([[-4.0, -4.2], [0.02, 0.03], [1.0, 1.2], [-0.03, -0.02], [0.01, 0.01]])
    chain = Chain(("sky", "canopy", "walls", "paving", "cover"), np.zeros(2), np.cumsum(steps, axis=0))

    found = _explained(chain, WORDS, "leaf", 1.0)

    assert [part.key for part in found.parts] == ["sky", "walls", REST, "cover"]
    assert found.parts[2].kelvin == pytest.approx(0.0, abs=1e-12)
    assert sum(part.kelvin for part in found.parts) == pytest.approx(found.end_c, abs=1e-12)
    assert found.alone_c == pytest.approx(found.end_c - 0.01)
    assert REST.capitalize() not in [row.label for row in cold_rows(found, IN_C)]  # it adds nothing that shows


def test_a_part_that_is_small_in_the_middle_but_not_in_all_members_stays() -> None:
    steps = np.array([[-4.0, -4.0, -4.0], [0.01, 0.0, 0.5]])
    chain = Chain(
        ("sky", "roof"), np.array([-1.0, 0.0, -2.0]), np.array([[-1.0, 0.0, -2.0]]) + np.cumsum(steps, axis=0)
    )
    assert [part.key for part in _explained(chain, WORDS, "leaf", 1.0).parts] == ["sky", "roof"]
