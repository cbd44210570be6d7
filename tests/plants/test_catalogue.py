"""Which kinds are known, and does every published figure stand in the catalogue as it was published?"""

from __future__ import annotations

import csv
import dataclasses
import re
from importlib import resources

import pytest

from fruitwall.errors import UnknownTaxonError
from fruitwall.plants.catalogue import (
    GROUPS,
    Catalogue,
    Evidence,
    Taxon,
    catalogue,
    folded,
    parse_evidence,
    parse_taxa,
    said_taxon,
)
from fruitwall.speech import speaking

ROWS = catalogue().evidence_rows


def told(row: Evidence) -> str:
    return f"{row.source.key}: {row.taxon}, {row.stage} {row.effect} {row.type} {row.as_stated}"


WORDS = re.compile(r"'|±|possible|only| or 8")
"""Statements such as 'high 20s' °F or -10 ± 1 °C: coded as a band, which the note or the statement explains."""


def as_celsius(text: str) -> list[float]:
    """Read figures such as 26-28 °F, -3 to -4.5 °C, -13 to -17 °F; coldest first."""
    below_zero = text.startswith("-") or " -" in text
    figures = [float(n) * (-1 if below_zero else 1) for n in re.findall(r"\d+(?:\.\d+)?", text)]
    if text in ("-5 to 1 °C",):
        figures = [-5.0, 1.0]
    return sorted((f - 32) / 1.8 if "°F" in text else f for f in figures)


@pytest.mark.parametrize("row", ROWS, ids=told)
def test_a_row_keeps_the_figure_its_source_stated(row: Evidence) -> None:
    if WORDS.search(row.as_stated):
        assert re.search(r"coded|possible|± 1|range depends", row.note + row.as_stated)
        return

    stated = as_celsius(row.as_stated)

    assert (row.low_c, row.high_c) == pytest.approx((stated[0], stated[-1]), abs=0.006)


def test_nearly_all_figures_are_numbers_and_not_words() -> None:
    assert sum(bool(WORDS.search(row.as_stated)) for row in ROWS) < 0.1 * len(ROWS)


@pytest.mark.parametrize("row", ROWS, ids=told)
def test_a_row_is_found_by_scientific_and_common_name(row: Evidence) -> None:
    taxon = catalogue().find(row.taxon)

    assert taxon.scientific == row.taxon
    assert catalogue().find(row.common_name) is taxon
    assert row in catalogue().evidence(taxon)


def test_every_row_of_the_tables_is_read() -> None:
    data = resources.files("fruitwall.plants") / "data"
    count = sum(
        len(list(csv.DictReader((data / file).read_text(encoding="utf-8").splitlines())))
        for file in ("cold_injury.csv", "evidence_added.csv")
    )

    assert len(ROWS) == count == 362


def test_the_tags_are_read_from_the_notes() -> None:
    number = {tag: sum(row.type == tag for row in ROWS) for tag in ("db_code", "threshold", "survives", "growth_limit")}

    # counted with grep in the tables
    assert number == {"db_code": 138, "threshold": 116, "survives": 70, "growth_limit": 13}
    assert sum(row.from_memory for row in ROWS) == 8


def test_the_data_base_counts_as_one_voice_with_its_narrative() -> None:
    voices = {row.voice for row in ROWS if row.source.key in ("fao_ecocrop_db", "fao_ecocrop_view")}

    assert voices == {"ecocrop"}


@pytest.mark.parametrize("taxon", catalogue().taxa, ids=lambda t: t.key)
def test_a_kind_is_found_by_all_its_names(taxon: Taxon) -> None:
    for name in (taxon.key, *taxon.names):
        assert catalogue().find(name) is taxon
        assert catalogue().find(name.upper()) is taxon


@pytest.mark.parametrize(
    ("name", "scientific"),
    [
        ("MANGO", "Mangifera indica"),
        ("guanabana", "Annona muricata"),
        ("Guanábana", "Annona muricata"),
        ("white-sapote", "Casimiroa edulis"),
        ("Star Fruit", "Averrhoa carambola"),
        ("annona x atemoya", "Annona × atemoya"),
        ("Persea americana (Mexican type)", "Persea americana (Mexican type)"),
        ("persea americana mexican", "Persea americana (Mexican type)"),
        ("Mexican avocado", "Persea americana (Mexican type)"),
        ("Acca sellowiana", "Feijoa sellowiana"),
        ("palta", "Persea americana"),
        ("chirimoyo", "Annona cherimola"),
        ("guanábano", "Annona muricata"),
        ("aguacatero", "Persea americana"),
        ("papayo", "Carica papaya"),
        ("platanera", "Musa acuminata"),
        ("guayabo", "Psidium guajava"),
        ("naranjo", "Citrus sinensis"),
        ("limonero", "Citrus limon"),
        ("duraznero", "Prunus persica"),
        ("melocotonero", "Prunus persica"),
        ("níspero", "Eriobotrya japonica"),
    ],
)
def test_case_accents_and_spelling_are_overlooked(name: str, scientific: str) -> None:
    assert catalogue().find(name).scientific == scientific


@pytest.mark.parametrize(
    ("name", "key"),
    [
        ("Hass", "persea-americana-guatemalan-mexican"),
        ("hass avocado", "persea-americana-guatemalan-mexican"),
        ("aguacate Hass", "persea-americana-guatemalan-mexican"),
        ("aguacatero 'Hass'", "persea-americana-guatemalan-mexican"),
        ("mango Tommy Atkins", "mangifera-indica"),
        ("Washington Navel orange", "citrus-sinensis"),
    ],
)
def test_a_cultivar_finds_its_kind_alone_or_beside_the_name(name: str, key: str) -> None:
    assert catalogue().find(name).key == key


@pytest.mark.parametrize("name", ["Hass mango", "Keitt avocado", "mango avocado"])
def test_a_cultivar_beside_the_name_of_another_genus_is_not_guessed_at(name: str) -> None:
    with pytest.raises(UnknownTaxonError):
        catalogue().find(name)


@pytest.mark.parametrize("taxon", [t for t in catalogue().taxa if t.cultivars], ids=lambda t: t.key)
def test_every_cultivar_is_found(taxon: Taxon) -> None:
    for cultivar in taxon.cultivars:
        assert catalogue().find(cultivar) is taxon


def test_season_and_heat_of_a_kind_are_read_with_their_sources() -> None:
    mango = catalogue().find("mango")

    months = {row.source.key: row.bloom_to_harvest_months for row in catalogue().habit(mango)}
    heat = [(row.effect, row.temperature_c) for row in catalogue().heat(mango)]

    # habit.csv and heat_injury.csv, read by eye
    assert months["fao_ecocrop_view"] == (2.0, 4.9)
    assert ("growth_stops", 48.0) in heat


@pytest.mark.parametrize(
    ("name", "near"), [("mangoo", "mango"), ("bannana", "banana"), ("chirimoia", "chirimoya"), ("lychi", "lichi")]
)
def test_an_unknown_name_gets_near_names(name: str, near: str) -> None:
    with pytest.raises(UnknownTaxonError, match=f'no kind named "{name}"') as refused:
        catalogue().find(name)

    assert refused.value.near[0] == near


def test_a_name_like_no_other_gets_none() -> None:
    with pytest.raises(UnknownTaxonError) as refused:
        catalogue().find("xyzzyx")

    assert refused.value.near == []


def test_near_names_name_each_kind_once() -> None:
    near = catalogue().near("avocado mexicano")

    assert len({catalogue().find(name).key for name in near}) == len(near)


def test_a_hundred_kinds_have_english_and_spanish_names() -> None:
    assert len(catalogue().taxa) >= 100
    assert all(taxon.english and taxon.spanish for taxon in catalogue().taxa)


def test_leaf_habit_is_that_of_the_habit_table() -> None:
    data = resources.files("fruitwall.plants") / "data" / "habit.csv"
    stated: dict[str, set[str]] = {}
    for row in csv.DictReader(data.read_text(encoding="utf-8").splitlines()):
        stated.setdefault(row["taxon"], set()).add(row["leaf_habit"])

    for scientific, habits in stated.items():
        assert catalogue().find(scientific).leaf_habit in habits


def test_kinds_with_rows_on_suffering_above_freezing_are_marked() -> None:
    shown = {
        row.taxon
        for row in ROWS
        if row.effect == "chilling_injury" and row.stage in ("any", "mature") and row.type != "growth_limit"
    }

    assert all(catalogue().find(scientific).chill_sensitive for scientific in shown)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"note": "no tag"}, "type=threshold"),
        ({"note": "type=guess"}, "type must be one of .* got 'guess'"),
        ({"stage": "old"}, "stage must be one of .* got 'old'"),
        ({"effect": "sad"}, "effect must be one of .* got 'sad'"),
        ({"temp_c_low": "-1", "temp_c_high": "-3"}, "colder first"),
        ({"temp_c_low": "-99"}, "-60 to 30"),
        ({"source_key": "nobody"}, "nobody"),
    ],
)
def test_a_bad_row_is_refused_with_its_number(change: dict[str, str], message: str) -> None:
    good = {
        "taxon": "Mangifera indica", "common_name": "mango", "family": "", "stage": "mature", "effect": "death",
        "temp_c_low": "-3", "temp_c_high": "-2", "temp_as_stated": "", "duration_h": "", "source_key": "here",
        "locator": "", "note": "type=threshold",
    }  # fmt: skip
    row = good | change
    text = ",".join(row) + "\n" + ",".join(f'"{v}"' for v in row.values())

    with pytest.raises(ValueError, match=f"row 2 .*{message}"):
        parse_evidence(text, {"here": ROWS[0].source}, {})


def test_a_bad_kind_is_refused_by_name() -> None:
    kind = (
        "- {key: a, scientific: A, english: [a], family: F, leaf_habit: evergreen, "
        "leaf_width_m: %s, fruit_diameter_m: 0.1}"
    )

    assert parse_taxa(kind % "0.05")[0].leaf_width_m == 0.05
    with pytest.raises(ValueError, match="kind 'a': leaf_width_m must be greater than 0 and at most 1 m, got -1"):
        parse_taxa(kind % "-1")
    with pytest.raises(ValueError, match=r"kind 'a': leaf_habit must be one of evergreen, .* got 'bald'"):
        parse_taxa((kind % "0.05").replace("evergreen", "bald"))
    with pytest.raises(ValueError, match=r"kind 'a': .*frost_class"):
        parse_taxa((kind % "0.05").replace("family", "frost_class: 3, family"))


def test_two_kinds_may_not_share_a_name() -> None:
    first, second = catalogue().taxa[:2]
    again = dataclasses.replace(second, english=(first.name,))

    with pytest.raises(ValueError, match=f'"{first.name}" names both {first.scientific} and {second.scientific}'):
        Catalogue((first, again), ())


def test_folding_keeps_kinds_apart() -> None:
    assert folded("Persea americana (Mexican type)") != folded("Persea americana (Guatemalan type)")
    assert folded("Annona × atemoya") == folded("Annona atemoya") == folded("ANNONA X ATEMOYA")


def test_every_group_of_cultivars_can_be_said() -> None:
    behind = {taxon.scientific.partition(" (")[2].removesuffix(")") for taxon in catalogue().taxa} - {""}
    assert behind == set(GROUPS)


def test_a_scientific_name_stays_and_the_group_behind_it_is_said() -> None:
    with speaking("es"):
        assert said_taxon("Persea americana (Mexican type)") == "Persea americana (tipo mexicano)"
        assert said_taxon("Mangifera indica") == "Mangifera indica"
        assert said_taxon("Litchi (of our own)") == "Litchi (of our own)"
