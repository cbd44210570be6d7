"""Charts: every value in the table, every mark in view, values by keys."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from math import nan
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

import fruitwall.web
from fruitwall.web.assets import Assets
from fruitwall.web.charts.chart import PLOT, WIDTH, Cell, Chart, Event, Point, Series, Strip, Thumb, draw
from fruitwall.web.charts.signs import SIGN_WORDS, sign_of_grade
from fruitwall.web.margins import BANDS
from fruitwall.web.pages import Pages
from tests.web.test_colours import PAIRS, SIGN

START = datetime(2026, 12, 1, 12, tzinfo=UTC)
ZONE = ZoneInfo("America/Los_Angeles")
VALUES = [3.2, -1.7, nan, 0.0, 5.25, -4.0]


def chart(values=VALUES, *, gap=timedelta(days=3), style="line") -> Chart:
    series = [
        Series("Alone", [Point(START + gap * at, value) for at, value in enumerate(values)], style),
        Series("Plan", [Point(START + gap * at, value + 1.5) for at, value in enumerate(values)], style, "two"),
    ]
    events = [Event(START + gap * 2, "Covered", "deed"), Event(START - gap, "Paler", "whole", "1")]
    events += [Event(START + gap * at, sign, sign, "5") for at, sign in enumerate(SIGN_WORDS)]
    strips = [
        Strip("", [Cell(START, START + gap * 7, "Bloom")]),
        Strip("Margin", [Cell(START + gap * at, START + gap * (at + 1), one.key, one) for at, one in enumerate(BANDS)]),
    ]
    thumbs = [Thumb(START + gap * at, f"/s{at}.jpg", f"/{at}.jpg", f"leaf {at}") for at in range(8)]
    return Chart("Cold", "°C", ZONE, series, events, strips, thumbs, zero=True)


def size_of(text: str) -> tuple[float, float]:
    width, height = re.search(r'viewBox="0 0 (\d+) (\d+)"', text).groups()
    return float(width), float(height)


@pytest.mark.parametrize("style", ["line", "steps", "dots", "bars"])
@pytest.mark.parametrize("values", [VALUES, [2.0], [0.0, 0.0], [-40.0, 300.0]])
def test_every_value_and_event_stands_in_the_table(values, style):
    drawn = draw(chart(values, style=style))
    cells = [cell for row in drawn.rows for cell in row]

    for value in values:
        for shown in (value, value + 1.5):
            told = "?" if value != value else f"{shown:.1f}".removesuffix(".0").replace("-", "\N{MINUS SIGN}")
            assert told in cells
    assert {"Covered", "Paler"} <= {part for cell in cells for part in cell.split("; ")}
    assert any("Bloom begins" in cell for cell in cells)
    assert {len(row) for row in drawn.rows} == {len(drawn.heads)}


@pytest.mark.parametrize("style", ["line", "steps", "dots", "bars"])
@pytest.mark.parametrize("gap", [timedelta(minutes=5), timedelta(days=3), timedelta(days=300)])
@pytest.mark.parametrize("values", [VALUES, [2.0], [0.0, 0.0], [-40.0, 300.0], [nan], []])
def test_every_mark_lies_within_the_picture(values, gap, style):
    drawn = draw(chart(values, gap=gap, style=style))
    for text in (str(drawn.picture), str(drawn.thumbs)):
        width, height = size_of(text)
        assert width == WIDTH
        across = [float(v) for v in re.findall(r' (?:x|cx|x1|x2)="([^"]+)"', text)]
        down = [float(v) for v in re.findall(r' (?:y|cy|y1|y2)="([^"]+)"', text)]
        for pairs in re.findall(r'points="([^"]+)"', text):
            for pair in pairs.split():
                x, y = map(float, pair.split(","))
                across.append(x)
                down.append(y)
        for x, wide in re.findall(r'<(?:rect|image)[^>]* x="([^"]+)"[^>]* width="([^"]+)"', text):
            across.append(float(x) + float(wide))
        assert across
        assert min(across) >= -0.01
        assert max(across) <= WIDTH + 0.01
        assert min(down) >= 0
        assert max(down) <= height
        assert "style=" not in text
    _, height = size_of(str(drawn.picture))
    for x, y, words in json.loads(drawn.places):
        assert 0 <= x <= WIDTH
        assert 0 <= y <= height
        assert words


def test_what_is_uncertain_is_drawn_and_told():
    spread = [Point(START + timedelta(days=at), -2.0, -3.5, -1.0) for at in range(3)]
    drawn = draw(Chart("Cold", "°C", ZONE, [Series("what it stands", spread, look="three")], told=["Two nights."]))

    assert str(drawn.picture).count("chart-spread three") == 1
    assert drawn.rows[0][1] == "\N{MINUS SIGN}2 (\N{MINUS SIGN}3.5 to \N{MINUS SIGN}1)"
    assert "Two nights. What it stands: lowest" in drawn.summary
    assert drawn.heads[1] == "What it stands (°C)"


def test_bars_stand_on_zero_side_by_side():
    both = [
        Series(name, [Point(START + timedelta(days=365 * at), value) for at, value in enumerate((3.0, -1.0, 0.0))],
               "bars", look)
        for name, look in (("lost", "one"), ("hurt", "two"))
    ]  # fmt: skip
    drawn = draw(Chart("Winters", "trees", ZONE, both))
    rects = [
        tuple(float(re.search(rf' {name}="([^"]+)"', rect)[1]) for name in ("x", "width", "y", "height"))
        for rect in re.findall(r'<rect class="chart-bar[^>]*>', str(drawn.picture))
    ]
    assert len(rects) == 6
    assert rects[0][2] + rects[0][3] == pytest.approx(rects[1][2])  # up to zero from above, from zero down
    assert rects[2][3] == 0
    left, right = rects[0], rects[3]
    assert left[0] + left[1] == pytest.approx(right[0], abs=0.02)
    assert "highest 3 trees" in drawn.summary


def test_events_close_to_each_other_do_not_lie_on_each_other():
    events = [Event(START + timedelta(hours=at), f"look {at}", "whole", "0") for at in range(3)]
    far = Event(START + timedelta(days=60), "look", "whole", "0")
    drawn = draw(Chart("Looks", "", ZONE, events=[*events, far]))
    middles = re.findall(r'<circle class="chart-event whole" cx="([^"]+)" cy="([^"]+)"', str(drawn.picture))
    assert len({y for _, y in middles[:3]}) == 3
    assert middles[3][1] == middles[0][1]


def test_photos_hang_under_their_time_as_links_with_words_and_say_how_many_found_no_room():
    drawn = draw(chart(gap=timedelta(minutes=5)))
    text = str(drawn.thumbs)
    assert text.count("<a ") == 3
    assert drawn.unseen == 5
    assert 'href="/7.jpg"' in text  # the newest is there
    assert re.search(r'aria-label="[^"]*leaf 7"', text)
    assert "aria-hidden" not in text


@pytest.mark.parametrize(
    ("grade", "sign"), [(None, "look"), (0, "whole"), (1, "whole"), (2, "leaf"), (4, "leaf"), (5, "wood"), (7, "wood")]
)
def test_a_grade_has_a_shape_and_the_shape_has_words(grade, sign):
    assert sign_of_grade(grade) == sign
    drawn = draw(Chart("Looks", "", ZONE, events=[Event(START, "look", sign)]))
    assert [words for _, words in drawn.legend] == [SIGN_WORDS[sign]]


def test_what_happened_alone_needs_no_plot():
    events, value = [Event(START, "look", "whole", "0")], Series("Cold", [Point(START, -2.0)])
    plain, full = (draw(Chart("Looks", "°C", ZONE, series, events)) for series in ([], [value]))

    assert size_of(str(plain.picture))[1] == size_of(str(full.picture))[1] - PLOT
    assert "chart-rule" not in str(plain.picture)
    assert plain.summary == "On Tue 1 Dec."


def test_nothing_is_no_picture():
    assert draw(Chart("Cold", "°C", ZONE)) is None


def test_the_sentence_tells_the_span_and_the_least():
    summary = draw(chart()).summary
    assert "Alone: lowest \N{MINUS SIGN}4 °C on Wed 16 Dec." in summary


def test_every_colour_of_a_mark_is_one_whose_contrast_is_measured():
    css = (Path(fruitwall.web.__file__).parent / "charts" / "chart.css").read_text("utf-8")
    for look in ("one", "two", "three"):
        for kind in ("line", "dot", "bar"):
            colour = re.search(rf"\.chart-{kind}\.{look} {{[^}}]*var\(--([\w-]+)\)", css)[1]
            assert PAIRS[colour, "paper"] >= SIGN


def test_the_same_description_is_drawn_into_a_report_that_asks_for_nothing_else():
    templates = Pages(Assets([])).templates  # no style sheet and no script has an address
    text = '{% from "charts/chart.html" import chart with context %}{{ chart(drawn) }}'
    plain = replace(chart(), thumbs=())
    page = templates.from_string(text).render(drawn=draw(plain))

    assert str(draw(plain).picture) in page
    assert draw(plain).summary in page
    assert page.count("<tr>") == 1 + len(draw(plain).rows)
    assert not re.search(r"(src|href)=|<script|https?:", page)


def test_every_class_of_a_mark_has_a_rule():
    css = (Path(fruitwall.web.__file__).parent / "charts" / "chart.css").read_text("utf-8")
    names = {name for names in re.findall(r'class="([^"]+)"', str(draw(chart()).picture)) for name in names.split()}
    assert {name for name in names if f".{name}" not in css} <= {"start"}
