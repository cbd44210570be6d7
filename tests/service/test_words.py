"""The reason why a tree is left is the true one."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from fruitwall.plans.making import Refusal
from fruitwall.plans.parts import Measure
from fruitwall.plans.reasons import Reason
from fruitwall.service.household import Household
from fruitwall.service.words import listed, why_left
from fruitwall.yard.model import Display

FEET = Household(Display(temperature="F", length="ft", mass="lb"), ZoneInfo("America/Los_Angeles"))
COVER = Measure("cover:fleece_heavy", "cover with heavy fleece", "lime")
WET = Measure("wet", "wet the ground while the sun is on it", "lime", wet_ground=True)
TOO_SMALL = Refusal(
    "cover:fleece_heavy",
    "no heavy fleece is large enough: to reach the ground all round takes 6.0 m both ways",
    "no_sheet",
)
SUPPLIES = {"sheet/large": "Large fleece", "lead/long": "Long lead"}


def said(reason: Reason) -> str:
    return why_left(reason, SUPPLIES, FEET, "USD").replace("\N{NO-BREAK SPACE}", " ")


def test_what_cannot_be_done_is_told_in_the_households_units() -> None:
    assert (
        said(Reason("lime", "impossible", (TOO_SMALL,)))
        == "no heavy fleece is large enough: to reach the ground all round takes 20 ft both ways"
    )


def test_what_is_used_elsewhere_is_named() -> None:
    reason = Reason("lime", "others_first", (), COVER, 30.0, 3.0, ("sheet/large", "lead/long"))

    assert "cover with heavy fleece; but Large fleece and Long lead are of more use elsewhere" in said(reason)


def test_what_is_not_worth_it_tells_both_sides() -> None:
    assert "save 2 USD and cost 9 USD" in said(Reason("lime", "not_worth_it", (), COVER, 2.0, 9.0))


def test_that_watering_does_not_pay_is_no_reason_where_no_sheet_fits() -> None:
    assert said(Reason("lime", "not_worth_it", (TOO_SMALL,), WET, 1.0, 4.0)).startswith("no heavy fleece")


def test_of_a_pot_it_is_told_as_well_why_it_stays_out() -> None:
    heavy = Refusal("carry:hall", "it weighs about 40 kg: nobody lifts, and there is no trolley", "too_heavy")
    in_pounds = "it weighs about 88 lb: nobody lifts, and there is no trolley"

    told = said(Reason("lime", "not_worth_it", (TOO_SMALL, heavy), COVER, 2.0, 9.0))
    assert "save 2 USD and cost 9 USD" in told
    assert told.endswith(f"; it is not brought elsewhere: {in_pounds}")
    assert said(Reason("lime", "impossible", (heavy,))) == in_pounds


def test_lists_read_as_sentences() -> None:
    assert [listed(names) for names in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == ["", "a", "a and b", "a, b and c"]
