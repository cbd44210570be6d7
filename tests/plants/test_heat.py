"""What heat a tree stands, and what a hot hour does to it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fruitwall.errors import UnknownTaxonError
from fruitwall.physics.air import saturation_vapour_pressure
from fruitwall.physics.daylight import stomatal_conductance
from fruitwall.plants import heat
from fruitwall.plants.catalogue import catalogue
from fruitwall.plants.heat import GRADE_STEPS_K, HEAT_TISSUES, heat_harm, heat_tolerance, leaf_vpd, shade, sunburn
from tests.physics.day import noon
from tests.published import find_check

FILE = "heat.yaml"
GROWN = heat_tolerance("lemon", age_years=20, potted=False)


def f_to_k(fahrenheit: float) -> float:
    return fahrenheit * 5.0 / 9.0


# ---------------------------------------------------------------- published values


def test_the_vapour_deficit_is_that_of_two_psychrometric_libraries():
    check = find_check(FILE, "heat.vpd")
    full = saturation_vapour_pressure(check.given("t_c"))
    ours = full * (1.0 - check.given("rh") / 100.0)
    for name in ("vpd_kpa", "vpd_psychrolib_kpa", "vpd_metpy_kpa"):
        assert ours == check.approx(name)
    # the same formula as here, where the leaf has the air's temperature
    assert leaf_vpd(check.given("t_c"), check.given("t_c"), check.given("rh")) == pytest.approx(ours, rel=1e-12)


def test_the_vapour_difference_of_a_leaf_is_that_of_a_psychrometric_library():
    check = find_check(FILE, "heat.leaf_vpd")
    ours = leaf_vpd(check.given("t_leaf_c"), check.given("t_air_c"), check.given("rh"))
    assert ours == check.approx("leaf_vpd_kpa")
    assert ours == check.approx("leaf_vpd_psychrolib_kpa")


def test_apples_burn_where_they_were_measured_to():
    check = find_check(FILE, "heat.sunburn_apple")
    assert (heat.NECROSIS_C.mean_c, heat.NECROSIS_C.sd_k) == (
        check.want("necrosis_c"),
        check.want("necrosis_plus_minus_c"),
    )
    assert list(heat.BROWNING_C) == list(check.want("browning_c"))
    assert [f_to_k(each) for each in check.want("unacclimated_necrosis_lower_by_f")] == pytest.approx(
        heat.UNUSED_TO_SUN_K
    )
    assert check.want("necrosis_minutes") == heat.NECROSIS_MINUTES
    assert check.want("browning_minutes") == heat.BROWNING_MINUTES
    assert sunburn(check.want("necrosis_c")).necrosis == pytest.approx(0.5)
    low, high = check.want("browning_c")
    assert sunburn([low, high]).browning == pytest.approx([0.0228, 0.9772], abs=1e-3)  # ± two standard deviations
    assert sunburn(50.0, used_to_sun=False).necrosis > sunburn(50.0).necrosis


def test_a_leaf_gains_most_where_navel_oranges_do():
    check = find_check(FILE, "heat.navel_optimum")
    low, high = check.want("leaf_c")
    leaf = np.arange(0.0, 60.0, 0.5)
    best = leaf[heat.warmth_share(leaf) == 1.0]
    assert (best.min(), best.max()) == (low, high)
    assert heat.warmth_share(46.0) == 0.0


def test_layers_of_a_net_let_through_what_was_measured():
    check = find_check(FILE, "heat.shade_net_light")
    ours = [float(shade(check.inputs["transmission_one"], int(count))) for count in check.given("layers")]
    assert ours == check.approx("transmission")
    assert ours[1] > check.inputs["transmission_one"] ** 2  # some goes to and fro between the two


def gain_under_half_shade() -> float:
    """What half shade adds to a watered leaf's photosynthesis at a Murcian July noon: 33 °C, 40 %, half calm. [%]

    What a leaf gains goes with how far its pores are open, by light and vapour difference, times its warmth.
    """

    def gain(stops: float) -> float:
        sun_up = {"beam_w_m2": 800.0, "diffuse_w_m2": 120.0, "elevation_deg": 65.0}
        leaf, sun = noon(33.0, 40.0, wind_m_s=1.0, stops=stops, **sun_up)
        return float(stomatal_conductance(leaf_vpd(leaf, 33.0, 40.0), sun) * heat.warmth_share(leaf))

    return 100.0 * (gain(0.5) / gain(0.0) - 1.0)


# Why it stays: a shortage of water and dazzled leaves in the open would have to be computed through a summer. It errs
# to too little praise of shade; no plan reads this figure (plans go by the chance of harm).
@pytest.mark.xfail(
    strict=True,
    reason="19 %: one noon of a watered leaf, by its warmth and the air alone. Measured was a summer of young trees; "
    "those in the open also ran short of water and their leaves were dazzled (photoinhibition): not computed here. "
    "The abstract gives neither weather nor net, so nothing was fitted.",
)
def test_netting_helps_young_limes_as_much_as_was_measured():
    check = find_check(FILE, "heat.shade_net_lime")
    assert gain_under_half_shade() == check.approx("photosynthesis_gain_percent")


def test_netting_helps_young_limes_in_the_direction_that_was_measured():
    assert 10.0 < gain_under_half_shade() < 37.0


# ---------------------------------------------------------------- shade


@given(one=st.floats(0.0, 1.0), layers=st.integers(0, 6))
def test_one_more_layer_never_lets_more_through(one, layers):
    assert 0.0 <= shade(one, layers + 1) <= shade(one, layers) <= 1.0


@pytest.mark.parametrize("wrong", [{"transmission_one": 1.1}, {"transmission_one": 0.5, "layers": -1}])
def test_impossible_cloth_is_refused(wrong):
    with pytest.raises(ValueError, match="must be from"):
        shade(**wrong)


# ---------------------------------------------------------------- tolerance


def test_seedlings_new_trees_pots_and_those_from_shade_stand_less():
    def leaf(**more):
        return heat_tolerance("lemon", **({"age_years": 20, "potted": False} | more)).leaf_c.mean_c

    usual = leaf()
    assert leaf(age_years=0.5) < leaf(age_years=3) < usual
    assert leaf(planted_years=0.1) < leaf(planted_years=0.8) < usual == leaf(planted_years=5)
    assert leaf(potted=True) < usual
    assert leaf(from_shade=True) == pytest.approx(usual - 2.5)
    young = heat_tolerance("lemon", age_years=0.5, potted=False)
    assert young.bark_c.mean_c < GROWN.bark_c.mean_c
    assert young.root_c.mean_c < GROWN.root_c.mean_c


def test_codes_of_growth_lean_the_limit_a_little_and_make_it_no_surer():
    tough, tender = (heat_tolerance(name, age_years=20, potted=False) for name in ("date palm", "Mexican avocado"))
    gap = tough.leaf_c.mean_c - tender.leaf_c.mean_c
    assert 0.0 < gap <= 2.0 * heat.LEAN_MOST_K
    assert tough.leaf_c.sd_k == tender.leaf_c.sd_k == heat.LEAF_C.sd_k
    assert "fao_ecocrop_db" in tough.evidence


def test_every_kind_is_given_a_limit_within_what_laboratories_span():
    rows = [row for row in catalogue().heats if row.effect == "leaf_scorch"]
    low, high = (each(row.temperature_c for row in rows) for each in (min, max))
    for taxon in catalogue().taxa:
        begins = heat_tolerance(taxon.key, age_years=20, potted=False).leaf_c
        assert low <= begins.mean_c <= high
        assert begins.sd_k >= 2.5


def test_an_unknown_kind_and_an_impossible_age_are_refused():
    with pytest.raises(UnknownTaxonError):
        heat_tolerance("gooseberry bush of Mars", age_years=None, potted=False)
    with pytest.raises(ValueError, match="age_years"):
        heat_tolerance("lemon", age_years=-1, potted=False)
    with pytest.raises(ValueError, match="height_m"):
        heat_tolerance("lemon", age_years=1, potted=False, height_m=0.0)


# ---------------------------------------------------------------- harm


@pytest.mark.parametrize("tissue", HEAT_TISSUES)
def test_half_of_the_trees_are_hurt_where_harm_begins(tissue):
    begins = GROWN.of(tissue).mean_c
    chances = heat_harm(begins, GROWN, tissue)
    assert chances.sum() == pytest.approx(1.0)
    assert chances[2:].sum() == pytest.approx(0.5)
    steps = GRADE_STEPS_K[tissue]
    assert chances[len(steps) + 1 :].sum() == 0.0


@given(hot=st.floats(10.0, 70.0), more=st.floats(0.1, 5.0), tissue=st.sampled_from(HEAT_TISSUES))
def test_a_hotter_hour_makes_no_grade_less_likely_to_be_reached(hot, more, tissue):
    at_least = np.cumsum(heat_harm([hot, hot + more], GROWN, tissue)[:, ::-1], axis=1)
    assert (at_least[1] >= at_least[0] - 1e-12).all()


def test_what_is_not_known_stays_unknown():
    chances = heat_harm([[np.nan, 30.0]], GROWN, "leaf")
    assert chances.shape == (1, 2, 8)
    assert np.isnan(chances[0, 0]).all()
    assert chances[0, 1, 0] > 0.99


def test_another_tissue_is_refused():
    with pytest.raises(ValueError, match="tissue must be one of leaf, fruit, bark, root"):
        heat_harm(40.0, GROWN, "twig")
