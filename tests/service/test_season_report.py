"""The report of a season: every tree, what was done and seen, and nothing private unless it is asked for."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from io import BytesIO
from xml.etree import ElementTree

import pytest

from fruitwall.errors import FruitwallError
from fruitwall.journal.opening import open_journal
from fruitwall.reports.drawing import cold_picture, count_picture
from fruitwall.reports.season_html import as_file
from fruitwall.reports.season_pdf import as_pdf, check_typst
from fruitwall.service import season as season_in
from fruitwall.service.cold_document import ColdNight
from fruitwall.service.household import Household
from fruitwall.service.ledger import Deed, Sighting
from fruitwall.service.nights import evening_of
from fruitwall.service.season_report import SeasonReport, YardNight, season_report
from fruitwall.speech import speaking
from fruitwall.weather.demo import demo_now
from tests.needs import missing
from tests.service.past import LATER, enter, house_with_past
from tests.service.test_cold_season import ZONE

NIGHT = demo_now().date()
NOTE = "Ask Ms Gundersen at the corner about *#$ [sap]"
PRIVATE = ("Small yard", "33.92", "117.22", "Ana", "Gundersen")


@pytest.fixture(scope="module")
def told(tmp_path_factory) -> dict[bool, SeasonReport]:
    """The report of the small yard without and with private details, and who reads."""
    folder = tmp_path_factory.mktemp("report")
    with open_journal(folder / "a.db") as journal, pytest.MonkeyPatch.context() as patch:
        patch.setattr(season_in, "MAKERS", {"cold": "cold_season:cold_part"})
        house = house_with_past(journal, folder)
        yard, _ = house.yard()
        sunset = evening_of(yard.location, NIGHT).sunset
        enter(
            house, Deed(what="cover:fleece_heavy@mango", words="Cover it", night=NIGHT, trees=["mango"]), None, sunset
        )
        enter(house, Deed(what="watered", words="Watered"), "mango", LATER - timedelta(hours=2))
        enter(house, Sighting(grade=2, note=NOTE), "mango", LATER - timedelta(hours=1))
        yield {private: season_report(house, reader(), private=private) for private in (False, True)}


def reader(**changes: str) -> Household:
    from fruitwall.yard.model import Display

    return Household(Display().model_copy(update={"temperature": "C", "length": "m"} | changes), ZONE)


def text_of(report: SeasonReport) -> str:
    return as_file(report, reader(), lambda _: None)


def test_the_report_tells_every_tree_with_its_coldest_night_what_was_done_and_how_it_looked(told):
    report = told[False]
    mango, twin, lime = report.trees
    assert [tree.name for tree in report.trees] == ["Mango", "Second mango", "Lime"]
    assert all(tree.told[0].startswith("Coldest: leaves at") for tree in report.trees)
    assert any(one.startswith("cover with") and one.endswith("1 night") for one in mango.done), mango.done
    assert "Watered: once" in mango.done
    assert [one.split(": ")[1] for one in mango.looks] == ["Some leaf burnt"]
    assert mango.learned
    assert (twin.done, lime.looks) == ((), ())
    night = next(one for one in report.nights if one.night == NIGHT)
    assert night.below <= night.below_alone <= 3
    assert night.alone_c <= night.done_c


def test_a_count_of_hours_reads_well_whatever_it_is(told):
    lines = [line for tree in told[False].trees for line in tree.told]
    assert any(line.startswith("Hours below where harm begins (") for line in lines)
    assert not any(" 1 hours" in line for line in lines)


def test_private_details_stand_in_it_only_where_they_are_asked_for(told):
    for words in PRIVATE:
        assert words not in text_of(told[False]), words
        assert words in text_of(told[True]), words
    assert told[True].trees[0].notes[0].endswith(NOTE)


def test_the_file_needs_nothing_beside_it(told):
    text = text_of(told[True])
    for words in ("<script", "http:", "https:", "<link", "@import", "url("):
        assert words not in text.replace("http://www.w3.org/2000/svg", ""), words
    assert text.count("<svg") == 5  # two of the yard, one a tree
    assert "<style>" in text
    assert "*#$ [sap]" in text


def test_photos_stand_in_the_file_where_they_are_asked_for_and_are_still_there(told):
    report = told[True]
    shown = replace(report, trees=(replace(report.trees[0], photos=("a" * 64, "b" * 64)), *report.trees[1:]))
    text = as_file(shown, reader(), {"a" * 64: b"\xff\xd8\xff"}.get)
    assert text.count('<img src="data:image/jpeg;base64,/9j/"') == 1
    assert 'alt="Photo of Mango"' in text


def test_the_report_speaks_spanish_and_in_the_units_of_who_reads(told, tmp_path, monkeypatch):
    monkeypatch.setattr(season_in, "MAKERS", {})
    with open_journal(tmp_path / "b.db") as journal, speaking("es"):
        report = season_report(house_with_past(journal, tmp_path), reader(temperature="F"))
        assert report.language == "es"
        assert "°F" in report.trees[0].told[0]
        assert "Coldest" not in report.trees[0].told[0]
        assert 'lang="es"' in as_file(report, reader(temperature="F"), lambda _: None)


def nights(*values: float) -> list[ColdNight]:
    return [
        ColdNight(night=date(2026, 12, 1) + timedelta(days=at), done_c=v + 1, alone_c=v) for at, v in enumerate(values)
    ]


def test_a_picture_stays_within_its_frame_and_parts_at_an_unknown_night():
    some = nights(3.0, -9.0, -4.0, 2.0)
    svg = ElementTree.fromstring(cold_picture(some, -2.0, reader()))
    lines = [one for one in svg if one.tag.endswith("polyline")]
    assert [one.attrib["class"] for one in lines] == ["rep-alone", "rep-done"]
    ys = [float(place.split(",")[1]) for one in lines for place in one.attrib["points"].split()]
    assert 0.0 < min(ys) < max(ys) < 90.0
    parted = ElementTree.fromstring(cold_picture([some[0], some[2], some[3]], None, reader()))
    assert len([one for one in parted if one.tag.endswith("polyline")]) == 2
    assert len([one for one in parted if one.tag.endswith("circle")]) == 2


def test_bars_are_as_high_as_they_count():
    day = date(2026, 12, 1)
    some = [YardNight(day, 1.0, 0.0, 1, 4), YardNight(day + timedelta(days=1), 1.0, 0.0, 0, 2)]
    bars = [one for one in ElementTree.fromstring(count_picture(some)) if one.tag.endswith("rect")]
    heights = {(one.attrib["class"], at): float(one.attrib["height"]) for at, one in enumerate(bars)}
    assert list(heights) == [("rep-bar-alone", 0), ("rep-bar-alone", 1), ("rep-bar", 2)]
    tall = list(heights.values())
    assert tall[0] == pytest.approx(2 * tall[1], abs=0.11)
    assert tall[0] == pytest.approx(4 * tall[2], abs=0.21)


def test_one_night_alone_can_be_drawn():
    assert "<circle" in cold_picture(nights(0.0), 0.0, reader())


def pdf_of(report: SeasonReport, household: Household) -> object:
    try:
        import pypdf
        import typst  # noqa: F401
    except ModuleNotFoundError as error:
        missing(f"{error.name} is not installed: pip install 'fruitwall[report]' pypdf")
    return pypdf.PdfReader(BytesIO(as_pdf(report, household)))


def test_the_pdf_can_be_read_tells_every_tree_and_nothing_private(told):
    pdf = pdf_of(told[False], reader())
    text = "\n".join(page.extract_text() for page in pdf.pages)
    for tree in told[False].trees:
        assert tree.name in text
    for words in PRIVATE:
        assert words not in text
    assert pdf.metadata.title == told[False].title
    assert pdf.trailer["/Root"]["/MarkInfo"]["/Marked"]  # tagged, for screen readers
    assert pdf.trailer["/Root"]["/Lang"] == "en"


def test_marks_of_the_typesetter_in_a_note_are_only_letters_and_americans_get_their_paper(told):
    pdf = pdf_of(told[True], reader(length="ft"))
    text = "\n".join(page.extract_text() for page in pdf.pages).replace("\n", " ")
    assert "*#$ [sap]" in text
    assert [round(float(one)) for one in pdf.pages[0].mediabox[2:]] == [612, 792]


@pytest.mark.parametrize("name", ["柚子 \N{LEMON}", "Lemon\x01\n= tree", "<b> & #panic() $x$ *_`@"])
def test_no_name_keeps_the_pdf_from_being_made(told, name):
    trees = (replace(told[False].trees[0], name=name), *told[False].trees[1:])
    text = pdf_of(replace(told[False], trees=trees), reader()).pages[0].extract_text()
    assert told[False].trees[1].name in text
    if name.isascii():
        assert " ".join(name.split("\x01")[0].split()) in text


def test_without_the_typesetter_is_said_how_to_get_it(monkeypatch):
    import sys

    monkeypatch.setitem(sys.modules, "typst", None)
    with pytest.raises(FruitwallError, match=r"pip install 'fruitwall\[report\]'"):
        check_typst()
