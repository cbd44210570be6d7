"""What is shown of a kind: every figure, its source, and what was made of them."""

from __future__ import annotations

import csv
from importlib import resources
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from fruitwall.errors import UnknownTaxonError
from fruitwall.plants.catalogue import GENERAL, Taxon, catalogue
from fruitwall.plants.tolerance import LEAF, WOOD, prior
from fruitwall.said import TAG
from fruitwall.service.household import Household
from fruitwall.service.kind import describe_kind, kind_for_reader, list_kinds, look_up, reader
from fruitwall.service.kind_words import axis_of
from fruitwall.service.own_kinds import catalogue_of
from fruitwall.terminal_kind import kind_answer, kind_page, kinds_list
from fruitwall.yard.model import Display

KNOWN = catalogue()
METRIC = reader(None)
FAHRENHEIT = Household(Display(temperature="F", length="ft", mass="lb", volume="gal"), ZoneInfo("UTC"))


@pytest.mark.parametrize("taxon", KNOWN.taxa, ids=lambda t: t.key)
def test_every_published_figure_of_a_kind_is_shown_with_its_source(taxon: Taxon) -> None:
    document = describe_kind(taxon.key, KNOWN)
    page = " ".join(kind_page(document, METRIC).split())

    rows = KNOWN.evidence(taxon)
    assert [(s.low_c, s.high_c, s.as_stated, s.type) for s in document.statements] == [
        (row.low_c, row.high_c, row.as_stated, row.type) for row in rows
    ]
    for row in rows:
        assert (row.source.authors or row.source.title).split(";")[0][:12] in page
    for heat in KNOWN.heat(taxon):
        assert f"{heat.temperature_c:.1f}" in page


def test_every_row_of_the_copied_tables_is_shown_at_its_kind() -> None:
    data = resources.files("fruitwall.plants") / "data"
    tables = ("cold_injury.csv", "evidence_added.csv", "heat_injury.csv", "habit.csv")
    rows = [row for name in tables for row in csv.DictReader((data / name).read_text("utf-8").splitlines())]
    pages: dict[str, str] = {}

    for row in rows:
        name = "mango" if row["taxon"].startswith(GENERAL) else row["taxon"]
        # the one row of a species that is no kind of the catalogue stands with its genus
        name = "Selenicereus undatus" if name == "Selenicereus megalanthus" else name
        if name not in pages:
            pages[name] = "".join(kind_page(describe_kind(name, KNOWN), METRIC, width=80).split())
        for shown in (row["locator"], TAG.sub("", row.get("note", ""))):
            # without blanks: addresses are broken over lines
            assert "".join(shown.split()).rstrip(".") in pages[name], row

    assert len(rows) == 331 + 31 + 91 + 71


def test_what_holds_for_all_trees_in_heat_is_shown_at_every_kind() -> None:
    for name in ("mango", "peach"):
        page = " ".join(kind_page(describe_kind(name, KNOWN), METRIC).split())  # splits at no-break spaces too

        assert "45.5 °C: leaf scorched (tropical trees)" in page
        assert "(apple fruit)" in page


@pytest.mark.parametrize(
    ("misspelt", "key"),
    [
        ("mangoe", "mangifera-indica"),
        ("avacado", "persea-americana"),
        ("gwava", "psidium-guajava"),
        ("lichee", "litchi-chinensis"),
        ("jakfruit", "artocarpus-heterophyllus"),
        ("sapodila", "manilkara-zapota"),
        ("passionfriut", "passiflora-edulis"),
        ("pomgranate", "punica-granatum"),
        ("loqat", "eriobotrya-japonica"),
        ("bannana", "musa-acuminata"),
        ("aguacatte", "persea-americana"),
        ("guallaba", "psidium-guajava"),
        ("chirimollo", "annona-cherimola"),
        ("guanavana", "annona-muricata"),
        ("platno", "musa-acuminata"),
        ("naranga", "citrus-sinensis"),
        ("higera", "ficus-carica"),
        ("granadda", "punica-granatum"),
        ("tamarndo", "tamarindus-indica"),
        ("durasno", "prunus-persica"),
    ],
)
def test_a_slip_of_the_pen_is_forgiven_and_said(misspelt: str, key: str) -> None:
    taxon, guessed = look_up(misspelt, KNOWN)
    page = " ".join(kind_answer(misspelt, None, None, as_json=False, width=80).split())

    assert (taxon.key, guessed) == (key, True)
    assert page.startswith(f"No kind is named “{misspelt}”. This is {taxon.name}, whose name comes nearest.")


@pytest.mark.parametrize("name", ["blackberry", "lime tree", "pear", "sapote", "xyzzyx", ""])
def test_nothing_is_guessed_from_too_little(name: str) -> None:
    with pytest.raises(UnknownTaxonError):
        look_up(name, KNOWN)


def test_a_right_name_is_not_called_guessed_and_programs_are_not_guessed_at() -> None:
    assert look_up("lúcuma", KNOWN) == (KNOWN.find("lucuma"), False)
    with pytest.raises(UnknownTaxonError, match="near names: mango"):
        kind_answer("mangoe", None, None, as_json=True, width=80)


@pytest.mark.parametrize("household", [METRIC, FAHRENHEIT], ids=["metric", "fahrenheit"])
@pytest.mark.parametrize("taxon", KNOWN.taxa[::7], ids=lambda t: t.key)
def test_a_kind_fits_eighty_columns(taxon: Taxon, household: Household) -> None:
    lines = kind_page(describe_kind(taxon.key, KNOWN), household, width=80).splitlines()

    assert max(len(line) for line in lines) <= 80


def test_the_levels_are_those_the_planner_uses_for_a_grown_tree() -> None:
    document = describe_kind("mango", KNOWN)
    tree = prior(KNOWN.find("mango"), age_years=20, height_m=6, potted=False)

    shown = {limit.grade: limit for limit in document.grades}
    assert shown[2].middle_c == pytest.approx(tree.threshold_c[LEAF, 2])
    assert shown[7].middle_c == pytest.approx(tree.threshold_c[WOOD, 7])
    assert shown[7].sd_k == pytest.approx(np.hypot(tree.sd_k[WOOD], tree.slope_k))
    assert sorted(shown) == [1, 2, 3, 4, 5, 6, 7]


def test_a_temperate_kind_is_shown_at_rest_without_leaf() -> None:
    document = describe_kind("peach", KNOWN)

    assert document.state == "at rest, without leaf"
    assert [limit.grade for limit in document.grades] == [5, 6, 7]


def test_a_colder_level_stands_further_left_in_the_plot() -> None:
    page = kind_page(describe_kind("mango", KNOWN), METRIC).splitlines()

    where = [line.index("o", 28) for line in page if "|" in line and "=o=" in line]
    assert len(where) == 7
    assert where == sorted(where, reverse=True)


@pytest.mark.parametrize("household", [METRIC, FAHRENHEIT], ids=["metric", "fahrenheit"])
def test_the_number_of_the_axis_stands_over_its_place(household: Household) -> None:
    document = describe_kind("feijoa", KNOWN)
    axis = axis_of(document, household)
    lines = kind_page(document, household).splitlines()
    numbers = next(line for line in lines if line.endswith(household.degree) and "|" not in line)
    death = next(line for line in lines if line.startswith("dead "))

    # The middle of the last level lies between the two numbers that it lies between.
    middle = household.degrees(document.grades[-1].middle_c)
    below, above = max(t for t in axis.ticks if t <= middle), min(t for t in axis.ticks if t > middle)
    at = [numbers.index(f" {tick} ".replace("-", "−")) + 1 for tick in (below, above)]
    assert at[0] - 1 <= death.index("o", 28) <= at[1] + 2


def test_a_figure_that_was_stood_points_to_the_cold() -> None:
    document = describe_kind("sapodilla", KNOWN)
    page = kind_page(document, METRIC).splitlines()

    stood = [s for s in document.statements if s.mark and s.mark.colder]
    assert stood
    for statement in stood:
        line = next(line for line in page if line.startswith(f"{statement.number:>2} ") and "|" in line)
        assert "<" in line
        assert line.endswith("stood it")


def test_the_kind_without_figures_says_what_it_rests_on() -> None:
    document = describe_kind("abiu", KNOWN)

    assert document.rests_on.startswith("Nothing is published on freezing of the tree itself")
    assert "relatives in the Sapotaceae" in document.rests_on
    assert "the spread is wide" in document.rests_on


def test_own_figures_narrow_what_relatives_leave_open() -> None:
    text = describe_kind("mango", KNOWN).rests_on

    spreads = [float(part.split(" K")[0]) for part in text.split("give or take ")[1:]]
    assert spreads[1] < spreads[0]


def test_in_fahrenheit_nothing_of_ours_is_left_in_celsius() -> None:
    page = kind_page(kind_for_reader("mango", KNOWN, FAHRENHEIT), FAHRENHEIT)
    ours = page.split("Published figures on cold")[0]

    assert "°F" in ours
    assert "°C" not in ours
    assert " K" not in ours.replace("Keitt", "").replace("Kent", "")


def test_figures_are_given_as_stated_and_in_own_degrees() -> None:
    page = " ".join(kind_page(describe_kind("mango", KNOWN), METRIC).split())

    # popenoe2021: 25 °F for a few hours, leaves and small branches
    assert "−3.9 °C (stated: 25 °F): grown, leaf hurt; at or below this; for 3 h" in page.replace("\xa0", " ")


def test_an_unknown_kind_is_refused_with_near_names() -> None:
    with pytest.raises(UnknownTaxonError, match="chirimoya"):
        describe_kind("chirimoia", catalogue_of(None))


def test_the_list_names_every_kind_once_in_eighty_columns() -> None:
    lines = list_kinds(KNOWN)
    text = kinds_list(lines)

    assert sorted(line.key for line in lines) == sorted(t.key for t in KNOWN.taxa)
    assert max(len(line) for line in text.splitlines()) <= 80
    assert "mango (Mangifera indica)" in text
    assert sum(line.statements for line in lines) == len(KNOWN.evidence_rows)
