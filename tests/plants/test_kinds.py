"""Does what a kind stands follow from its evidence, and only as far as the evidence goes?"""

from __future__ import annotations

import dataclasses
from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fruitwall.plants import effects
from fruitwall.plants.catalogue import Catalogue, Evidence, Taxon, catalogue
from fruitwall.plants.kinds import SCALES, Scales, kind, log_evidence, posterior
from fruitwall.plants.reading import Reading, readings

KNOWN = catalogue()
MANGO = KNOWN.find("mango")
SPREADS = ("source_sd_k", "outlier_sd_k", "kind_sd_k", "family_sd_k", "ultra_tropical_stretch", "temperate_stretch")
MEANS = ("usual_c", "ultra_tropical_c", "temperate_c")
TREE_ROWS = [row for row in KNOWN.evidence_rows if any(r.organ == "tree" for r in readings([row]))]


def a_row(**change: object) -> Evidence:
    """A statement about mango, of a source of its own."""
    template = next(row for row in KNOWN.evidence(MANGO) if row.type == "db_code" and row.stage == "mature")
    plain = dataclasses.replace(template, type="threshold", voice="somebody", duration_h=2.0, at_tissue=False)
    return dataclasses.replace(plain, **change)  # type: ignore[arg-type]


def with_rows(*rows: Evidence, only: bool = False) -> Catalogue:
    """The catalogue with further rows, or mango alone with these rows."""
    if only:
        return Catalogue((MANGO,), rows)
    return Catalogue(KNOWN.taxa, (*KNOWN.evidence_rows, *rows))


def told(row: Evidence) -> str:
    return f"{row.source.key}: {row.taxon}, {row.stage} {row.effect} {row.type} {row.as_stated}"


# ---------------------------------------------------------------- published figures


FAR_OFF: dict[str, str] = {}
"""Published values that disagree with all others, with the reason. None: codes of kinds at rest are read for growth."""


@pytest.mark.parametrize("row", [row for row in TREE_ROWS if told(row) not in FAR_OFF], ids=told)
def test_a_published_figure_agrees_with_what_its_kind_is_said_to_stand(row: Evidence) -> None:
    about = kind(KNOWN.find(row.taxon), KNOWN)
    for reading in readings([row], rests=about.taxon.needs_winter_chill):
        assert abs(surprise(reading, about.grade_c, about.grade_sd_k)) < 2.5


def surprise(reading: Reading, grade_c: np.ndarray, grade_sd_k: np.ndarray) -> float:
    """How many standard deviations a limit lies outside what a statement allows."""
    limit = grade_c[7] + reading.level * (grade_c[2] - grade_c[7])
    if reading.young:
        limit += effects.youth(effects.YOUNG_TREE_YEARS, None) * effects.young_gap_k(grade_c[7])
    spread = np.sqrt(reading.sd_k**2 + SCALES.source_sd_k**2 + grade_sd_k[7] ** 2)
    above = max(limit - reading.high_c, 0.0)
    below = max(reading.low_c - limit, 0.0) if reading.side == "within" else 0.0
    return float((above - below) / spread)


def test_a_mild_killing_temperature_of_a_kind_that_rests_is_not_one_of_its_rest() -> None:
    code = a_row(type="db_code", stage="mature", effect="death", low_c=-5.0, high_c=-5.0)
    hard_code = a_row(type="db_code", stage="mature", effect="death", low_c=-12.0, high_c=-12.0)

    assert [r.side for r in readings([code], rests=True)] == ["colder"]
    assert [r.side for r in readings([code])] == ["within"]
    assert [r.side for r in readings([hard_code], rests=True)] == ["within"]


@pytest.mark.parametrize("name", ["white mulberry", "black mulberry"])
def test_mulberries_at_rest_are_wide_about_a_temperate_kind_and_hold_the_zone_of_nurseries(name: str) -> None:
    about = kind(KNOWN.find(name), KNOWN)
    low, high = about.grade_c[7] - 2.0 * about.grade_sd_k[7], about.grade_c[7] + 2.0 * about.grade_sd_k[7]

    # Seed and tree merchants give zone 5, -29 to -23 °C (read November 2026); not in the catalogue, so not fitted.
    assert about.grade_c[7] < -12.0
    assert low < -26.0 < high


def test_most_published_figures_agree_well() -> None:
    far = []
    for row in TREE_ROWS:
        about = kind(KNOWN.find(row.taxon), KNOWN)
        far += [
            abs(surprise(r, about.grade_c, about.grade_sd_k))
            for r in readings([row], rests=about.taxon.needs_winter_chill)
        ]

    assert np.mean(np.array(far) < 1.0) > 0.9


@pytest.mark.parametrize(
    ("tender", "hardy"),
    [
        # Orders on which the collected sources agree (extension tables on citrus and avocado; EcoCrop narratives).
        ("Persea americana (West Indian type)", "Persea americana (Mexican type)"),
        ("Citrus latifolia", "Citrus sinensis"),
        ("Citrus limon", "Citrus reticulata"),
        ("Citrus sinensis", "Citrus unshiu"),
        ("Citrus medica", "Citrus japonica"),
        ("Annona squamosa", "Annona × atemoya"),
        ("Mangifera indica", "Litchi chinensis"),
        ("Psidium guajava", "Feijoa sellowiana"),
        ("Feijoa sellowiana", "Diospyros kaki"),
        ("Diospyros nigra", "Diospyros kaki"),
    ],
)
def test_kinds_come_in_the_published_order(tender: str, hardy: str) -> None:
    assert kind(KNOWN.find(tender), KNOWN).grade_c[7] > kind(KNOWN.find(hardy), KNOWN).grade_c[7]


# ---------------------------------------------------------------- how rows are read


@given(temperature=st.floats(-20, 1), effect=st.sampled_from(["death", "severe_injury", "leaf_injury"]))
@settings(max_examples=40)
def test_a_survival_is_never_read_as_a_killing_temperature(temperature: float, effect: str) -> None:
    row = a_row(type="survives", effect=effect, low_c=temperature, high_c=temperature)

    after = kind(MANGO, with_rows(row))

    assert (after.grade_c[1:] <= kind(MANGO, KNOWN).grade_c[1:] + 0.02).all()


@pytest.mark.parametrize(
    "taxon", [t for t in KNOWN.taxa if any(r.type == "survives" for r in KNOWN.evidence(t))], ids=lambda t: t.key
)
def test_leaving_out_survivals_never_makes_a_kind_hardier(taxon: Taxon) -> None:
    kept = tuple(row for row in KNOWN.evidence_rows if row.type != "survives" or row.taxon != taxon.scientific)

    without = kind(taxon, Catalogue(KNOWN.taxa, kept))

    # Date palm: one source only, for -15 °C in a code and in words; without the words it is more believable.
    allowed = 0.5 if taxon.scientific == "Phoenix dactylifera" else 0.02
    assert without.grade_c[7] >= kind(taxon, KNOWN).grade_c[7] - allowed


def test_surviving_mild_cold_says_next_to_nothing() -> None:
    row = a_row(type="survives", low_c=2.0, high_c=2.0)

    assert kind(MANGO, with_rows(row)).grade_c[7] == pytest.approx(kind(MANGO, KNOWN).grade_c[7], abs=0.02)


def test_growth_limits_change_nothing() -> None:
    kept = tuple(row for row in KNOWN.evidence_rows if row.type != "growth_limit")
    without = Catalogue(KNOWN.taxa, kept)

    assert len(kept) == len(KNOWN.evidence_rows) - 13
    for row in KNOWN.evidence_rows:
        if row.type == "growth_limit":
            taxon = KNOWN.find(row.taxon)
            np.testing.assert_array_equal(kind(taxon, without).grade_c, kind(taxon, KNOWN).grade_c)
            assert kind(taxon, without).chill_c == pytest.approx(kind(taxon, KNOWN).chill_c, nan_ok=True)


def test_many_rows_of_one_source_leave_its_spread() -> None:
    rows = [a_row(low_c=-4.0, high_c=-4.0) for _ in range(20)]
    apart = [dataclasses.replace(row, voice=f"source {n}") for n, row in enumerate(rows)]

    one_source = kind(MANGO, with_rows(*rows, only=True))
    twenty_sources = kind(MANGO, with_rows(*apart, only=True))

    assert one_source.voices == 1
    assert one_source.grade_sd_k[7] > 1.2  # about the 1.7 K between sources, narrowed by the prior
    assert twenty_sources.grade_sd_k[7] < 0.6


def test_a_second_source_is_worth_more_than_a_second_row() -> None:
    row = a_row(low_c=-4.0, high_c=-4.0)
    repeated = kind(MANGO, with_rows(row, row, only=True)).grade_sd_k[7]
    independent = kind(MANGO, with_rows(row, dataclasses.replace(row, voice="another"), only=True)).grade_sd_k[7]

    assert independent < repeated - 0.15


def test_a_lone_source_far_off_is_taken_with_caution() -> None:
    scattered = [a_row(low_c=t, high_c=t, voice=f"source {t}") for t in (-3.0, -3.5, -4.0)]
    lone = a_row(low_c=-15.0, high_c=-15.0, voice="lone")

    with_it = kind(MANGO, with_rows(*scattered, lone, only=True)).grade_c[7]
    without = kind(MANGO, with_rows(*scattered, only=True)).grade_c[7]

    assert without - 1.0 < with_it < without


def test_a_laboratory_figure_is_tissue_and_not_air() -> None:
    air = a_row(low_c=-5.0, high_c=-5.0)
    tissue = dataclasses.replace(air, at_tissue=True)

    difference = (
        kind(MANGO, with_rows(tissue, only=True)).grade_c[7] - kind(MANGO, with_rows(air, only=True)).grade_c[7]
    )

    assert 0.5 * effects.AIR_TO_TISSUE_K < difference < effects.AIR_TO_TISSUE_K


def test_an_hour_at_a_temperature_hurts_less_than_a_night_at_it() -> None:
    hour = a_row(low_c=-5.0, high_c=-5.0, duration_h=1.0)
    night = a_row(low_c=-5.0, high_c=-5.0, duration_h=8.0)

    assert readings([hour])[0].high_c == readings([night])[0].high_c + 3 * effects.DURATION_K_PER_LOG2H


def test_chilling_of_flowers_says_nothing_on_the_tree() -> None:
    assert readings([a_row(effect="chilling_injury", stage="flower", low_c=4.0, high_c=4.0)]) == []


def test_young_codes_of_the_data_base_are_read_as_soft_growth() -> None:
    row = a_row(type="db_code", stage="young", low_c=0.0, high_c=0.0)

    assert [r.organ for r in readings([row])] == ["flush"]


# ---------------------------------------------------------------- the arithmetic


def test_one_source_alone_gives_the_textbook_normal_posterior() -> None:
    scales = dataclasses.replace(SCALES, outlier_share=0.0)
    row = a_row(low_c=-5.0, high_c=-5.0)
    reading = readings([row])[0]
    prior_var = scales.family_sd_k**2 + scales.kind_sd_k**2
    width_var = (reading.high_c - reading.low_c) ** 2 / 12.0
    seen = 0.5 * (reading.low_c + reading.high_c)
    seen_var = scales.source_sd_k**2 + reading.sd_k**2 + width_var
    weight = prior_var / (prior_var + seen_var)

    about = kind(MANGO, with_rows(row, only=True), scales)

    assert about.grade_c[7] == pytest.approx(scales.usual_c + weight * (seen - scales.usual_c), abs=0.05)
    assert about.grade_sd_k[7] == pytest.approx(np.sqrt(prior_var * (1 - weight)), abs=0.05)


def test_a_slow_sum_over_all_unknowns_gives_the_same_posterior(rng: np.random.Generator) -> None:
    """Family, kind, leaf and two sources' shifts drawn from their priors and weighed by the rows."""
    rows = (a_row(low_c=-4.0, high_c=-3.0), a_row(type="survives", low_c=-5.0, high_c=-5.0, voice="b"))
    n = 400_000
    wood = rng.normal(SCALES.usual_c, np.hypot(SCALES.family_sd_k, SCALES.kind_sd_k), n)
    far = rng.random((2, n)) < SCALES.outlier_share
    shift = rng.normal(0, np.where(far, SCALES.outlier_sd_k, SCALES.source_sd_k))
    weight = np.prod([readings([row])[0].likelihood(wood + s) for row, s in zip(rows, shift, strict=True)], axis=0)
    mean = np.average(wood, weights=weight)
    sd = np.sqrt(np.average((wood - mean) ** 2, weights=weight))

    about = kind(MANGO, with_rows(*rows, only=True))

    assert about.grade_c[7] == pytest.approx(mean, abs=0.05)
    assert about.grade_sd_k[7] == pytest.approx(sd, abs=0.05)


def test_relatives_lend_their_hardiness() -> None:
    cold = [
        a_row(low_c=-9.0, high_c=-9.0, voice=f"s{n}", taxon="Anacardium occidentale", common_name="cashew")
        for n in range(3)
    ]
    cashew = KNOWN.find("cashew")

    alone = kind(MANGO, Catalogue((MANGO,), ()))
    beside_a_hardy_one = kind(MANGO, Catalogue((MANGO, cashew), tuple(cold)))

    assert beside_a_hardy_one.grade_c[7] < alone.grade_c[7] - 0.3
    assert beside_a_hardy_one.grade_sd_k[7] < alone.grade_sd_k[7]


@pytest.mark.parametrize(
    "name",
    [
        "green sapote",
        "abiu",
        "pitomba",
        "rose apple",
        "miracle fruit",
        "finger lime",
        "imbe",
        "peanut butter fruit",
        "cashew",
    ],
)
def test_a_kind_without_rows_is_visibly_uncertain(name: str) -> None:
    about = kind(KNOWN.find(name), KNOWN)

    assert about.rows == 0
    assert about.grade_sd_k[7] > 2.2
    assert about.grade_sd_k[7] > 1.5 * kind(MANGO, KNOWN).grade_sd_k[7]


@pytest.mark.parametrize("name", ["breadfruit", "soursop", "star apple"])
def test_an_ultra_tropical_kind_without_freezing_rows_is_wide_within_what_such_kinds_stand(name: str) -> None:
    about = kind(KNOWN.find(name), KNOWN)

    # Narrower than the others: whatever suffers above freezing stands little below it.
    assert about.rows == 0
    assert about.grade_sd_k[7] > 1.3 * kind(MANGO, KNOWN).grade_sd_k[7]
    assert about.chill_c[1] > 1.5


@pytest.mark.parametrize("name", ["wax jambu", "Jamaican cherry", "dragon fruit"])
def test_a_kind_with_one_source_stays_wide(name: str) -> None:
    about = kind(KNOWN.find(name), KNOWN)

    assert about.voices == 1
    assert about.grade_sd_k[7] > 1.25 * kind(MANGO, KNOWN).grade_sd_k[7]


def test_probabilities_on_the_grid_sum_to_one() -> None:
    assert posterior(MANGO, KNOWN).sum() == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize("taxon", KNOWN.taxa, ids=lambda t: t.key)
def test_worse_grades_need_colder_tissue(taxon: Taxon) -> None:
    about = kind(taxon, KNOWN)

    assert (np.diff(about.grade_c[1:]) < 0).all()
    assert (about.grade_sd_k[1:] > 0.5).all()
    assert about.grade_c[1] < 0.8


SUPPORT = 1.92
"""Half of the 95 % quantile of chi-squared with one degree of freedom: log likelihoods within so much of the best are
what 95 % support of a single unknown means."""


@lru_cache(maxsize=64)
def log_likelihood(scales: Scales) -> float:
    """Of the rows of all families."""
    return sum(log_evidence(family, KNOWN, scales) for family in sorted({taxon.family for taxon in KNOWN.taxa}))


@pytest.mark.parametrize(
    ("scale", "step"),
    [
        # A scale half and twice as large; a mean moved by the spread of kinds about it.
        *((name, ("times", factor)) for name in SPREADS for factor in (0.5, 2.0)),
        ("outlier_share", ("times", 0.0)),
        ("outlier_share", ("times", 2.0)),
        *((name, ("plus", sign * SCALES.kind_sd_k)) for name in MEANS for sign in (-1.0, 1.0)),
    ],
)
def test_no_other_scale_is_better_supported_by_the_rows(scale: str, step: tuple[str, float]) -> None:
    kind_of_step, by = step
    value = getattr(SCALES, scale)
    other = value * by if kind_of_step == "times" else value + by

    assert log_likelihood(dataclasses.replace(SCALES, **{scale: other})) < log_likelihood(SCALES) + SUPPORT
