"""Kinds, cultivars and figures that a user adds to the catalogue."""

from __future__ import annotations

import dataclasses
from datetime import date

import numpy as np
import pytest

from fruitwall.errors import YardFileError
from fruitwall.plants.catalogue import catalogue
from fruitwall.plants.kinds import kind
from fruitwall.service.kind import describe_kind, list_kinds, reader
from fruitwall.service.own_kinds import catalogue_of
from fruitwall.service.treatments import kinds_of, tolerance_of
from fruitwall.service.yards import check_yard_text
from fruitwall.terminal_kind import kind_page
from fruitwall.yard.file import write_yard
from fruitwall.yard.model import Yard
from tests.yard.yards import SMALL_YARD

NOW_HARDY = "{temperature: -7, type: survives, effect: death, stage: mature, lasted: 3 h, source: 'own notes, 2024'}"


def yard_with(kinds: str, taxon: str = "mango") -> Yard:
    text = SMALL_YARD.replace("taxon: mango", f"taxon: {taxon}") + f"\nkinds:\n{kinds}\n"
    return check_yard_text(text).yard


def own(evidence: str = "", hardier: str = "0") -> str:
    rows = f", evidence: [{evidence}]" if evidence else ""
    names = "names: [Aunt's mango], spanish: [mango de la tía]"
    return f"  - {{id: aunt-mango, {names}, like: mango, hardier: {hardier}{rows}}}"


def wood(yard: Yard, name: str = "aunt-mango") -> tuple[float, float]:
    known = catalogue_of(yard)
    about = kind(known.find(name), known)
    return float(about.grade_c[7]), float(about.grade_sd_k[7])


def test_a_kind_like_another_without_figures_of_its_own_stands_the_same() -> None:
    yard = yard_with(own())
    mango = kind(catalogue().find("mango"), catalogue())

    assert wood(yard) == pytest.approx((mango.grade_c[7], mango.grade_sd_k[7]), abs=1e-9)


def test_a_hardier_cultivar_stands_more_and_at_most_by_what_was_said() -> None:
    same, hardier = wood(yard_with(own()))[0], wood(yard_with(own(hardier="1.5 K")))[0]

    # Its relatives stay where they are and hold it back a little.
    assert same - 1.5 <= hardier < same - 0.8


def test_an_own_figure_enters_as_a_source_of_its_own() -> None:
    before, after = yard_with(own()), yard_with(own(NOW_HARDY))
    about = [kind(catalogue_of(y).find("aunt-mango"), catalogue_of(y)) for y in (before, after)]

    assert about[1].voices == about[0].voices + 1
    assert wood(after)[0] < wood(before)[0] - 0.2


def test_rows_of_one_source_text_are_one_voice_and_of_two_texts_two() -> None:
    other = NOW_HARDY.replace("own notes", "the neighbour")
    one = yard_with(own(f"{NOW_HARDY}, {NOW_HARDY}"))
    two = yard_with(own(f"{NOW_HARDY}, {other}"))

    voices = [kind(catalogue_of(y).find("aunt-mango"), catalogue_of(y)).voices for y in (one, two)]
    assert voices[1] == voices[0] + 1
    assert wood(two)[0] < wood(one)[0]


def test_own_figures_move_no_kind_of_the_catalogue() -> None:
    yard = yard_with(own(NOW_HARDY))
    for name in ("mango", "cashew", "ambarella"):
        ours, theirs = (kind(c.find(name), c) for c in (catalogue_of(yard), catalogue()))

        assert np.array_equal(ours.grade_c, theirs.grade_c, equal_nan=True)


def test_a_kind_like_none_rests_on_its_family() -> None:
    yard = yard_with("  - {id: wild-mamey, names: [Wild mamey], family: Sapotaceae, chill_sensitive: no}")
    abiu = kind(catalogue().find("abiu"), catalogue())

    document = describe_kind("Wild mamey", catalogue_of(yard))

    assert document.own
    assert document.statements == []
    assert "relatives in the Sapotaceae" in document.rests_on
    # Abiu has no row on the tree either: the same family gives nearly the same.
    assert wood(yard, "wild-mamey") == pytest.approx((abiu.grade_c[7], abiu.grade_sd_k[7]), abs=0.2)


def test_a_tree_of_an_own_kind_is_planned_with_its_own_limits() -> None:
    yard = yard_with(own(hardier="2 K"), taxon="mango de la tia")
    tree = yard.trees[0]
    taxon = kinds_of(yard)[tree.id]
    day = date(2026, 12, 22)

    hardier = tolerance_of(tree, taxon, day, None, catalogue_of(yard))
    usual = tolerance_of(tree, catalogue().find("mango"), day, None)

    assert taxon.key == "aunt-mango"
    assert hardier.threshold_c[2, 7] < usual.threshold_c[2, 7] - 1.0


def test_a_cultivar_that_the_catalogue_knows_by_name_becomes_the_users() -> None:
    yard = yard_with("  - {id: keitt, names: [Keitt], like: mango, hardier: 0.5}", taxon="Keitt")

    assert kinds_of(yard)["mango-1"].key == "keitt"
    assert catalogue().find("Keitt").key == "mangifera-indica"


def test_what_is_shown_says_whose_each_figure_is() -> None:
    yard = yard_with(own(NOW_HARDY, hardier="1"))
    document = describe_kind("aunt-mango", catalogue_of(yard))
    page = " ".join(kind_page(document, reader(yard)).split())

    assert [s.own for s in document.statements].count(True) == 1
    assert (
        "−7.0 °C: grown, killed; stood this: its limit is colder; for 3 h Your own: own notes, 2024."
        in page.replace("\xa0", " ")
    )
    assert "taken over from Mangifera indica; stated -1 °C, moved by -1 K" in page
    assert list_kinds(catalogue_of(yard))[0].key == "aunt-mango"


def test_the_same_kinds_give_the_same_catalogue_so_that_priors_are_kept() -> None:
    first, second = yard_with(own()), yard_with(own())

    assert catalogue_of(first) is catalogue_of(second)
    assert catalogue_of(None) is catalogue()


@pytest.mark.parametrize(
    ("kinds", "words"),
    [
        ("  - {id: a, names: [A tree]}", "kinds[0]: expected either like"),
        ("  - {id: a, names: [A tree], like: mango, family: Myrtaceae}", "and not both"),
        ("  - {id: a, names: [A tree], like: mangoo}", 'kinds[0].like: no kind named "mangoo"'),
        ("  - {id: a, names: [A tree], family: Myrtaceae, hardier: 1}", "kinds[0].hardier: says hardier than what"),
        ("  - {id: a, names: [lemon], like: mango}", '"lemon" is already a name of Citrus limon'),
        ("  - {id: mango-1, names: [A tree], like: mango}", 'the id "mango-1" is already that of'),
        ("  - {id: a, names: [A tree], like: mango, evidence: [{temperature: -3, effect: death}]}", "source"),
        ("  - {id: a, names: [A tree], like: mango, scientific: Citrus limon}", '"Citrus limon" is already a name'),
        ("  - {id: a, names: [A tree], like: mango, evidence: [{effect: death, source: me}]}", "either temperature"),
        (
            "  - {id: a, names: [A tree], like: mango, "
            "evidence: [{temperature: -3, between: [-3, -2], effect: death, source: me}]}",
            "and not both",
        ),
        (
            "  - {id: a, names: [A tree], like: mango, evidence: [{between: [-3], effect: death, source: me}]}",
            "between: expected 2",
        ),
        (
            "  - {id: a, names: [A tree], like: mango, evidence: [{temperature: -3, effect: sad, source: me}]}",
            "leaf_injury",
        ),
    ],
)
def test_a_wrong_own_kind_is_refused_at_its_place(kinds: str, words: str) -> None:
    with pytest.raises(YardFileError) as refused:
        yard_with(kinds)

    assert words in str(refused.value)
    assert "line " in str(refused.value)


def test_a_figure_may_be_known_between_two_temperatures_only() -> None:
    text = "{between: [-2, 27 F], effect: leaf_injury, source: me}"
    yard = yard_with(own(text))
    document = describe_kind("aunt-mango", catalogue_of(yard))
    figure = document.statements[-1]

    assert (figure.low_c, figure.high_c) == pytest.approx((-2.7778, -2.0), abs=1e-4)
    assert "−2.8 to −2.0 °C: of no stated age, leaf hurt" in kind_page(document, reader(yard)).replace("\xa0", " ")
    assert check_yard_text(write_yard(yard)).yard == yard


def test_an_own_kind_is_found_by_its_scientific_name_and_its_cultivars() -> None:
    yard = yard_with(
        "  - {id: wild, names: [Wild mamey], scientific: Pouteria fossicola, cultivars: [Doña Ana], "
        "family: Sapotaceae}",
        taxon="dona ana",
    )
    taxon = kinds_of(yard)["mango-1"]

    assert (taxon.key, taxon.scientific, taxon.cultivars) == ("wild", "Pouteria fossicola", ("Doña Ana",))
    assert catalogue_of(yard).find("pouteria FOSSICOLA") is taxon
    assert "Doña Ana" in kind_page(describe_kind("wild", catalogue_of(yard)), reader(yard))


def test_no_field_of_a_figure_is_lost_on_the_way_to_the_evidence() -> None:
    yard = yard_with(
        own(
            "{temperature: 28 F, effect: leaf_injury, stage: young, lasted: 90 min, at_tissue: yes, source: me, "
            "notes: x}"
        )
    )
    row = catalogue_of(yard).evidence(catalogue_of(yard).find("aunt-mango"))[-1]

    shown = dataclasses.asdict(row)
    assert shown["low_c"] == shown["high_c"] == pytest.approx(-2.2222, abs=1e-4)
    assert (row.type, row.stage, row.effect, row.duration_h) == ("observed", "young", "leaf_injury", 1.5)
    assert (row.at_tissue, row.source.title, row.note) == (True, "me", "x")
