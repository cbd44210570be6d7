"""Charts: every value in the table, every mark in view, values by keys."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime, timedelta
from math import nan
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

import fruitwall.web
from fruitwall.web.charts.chart import HEIGHT, WIDTH, Band, Chart, Event, Point, Series, draw
from tests.web.test_colours import PAIRS, SIGN

START = datetime(2026, 12, 1, 12, tzinfo=UTC)
ZONE = ZoneInfo("America/Los_Angeles")
VALUES = [3.2, -1.7, nan, 0.0, 5.25, -4.0]


def chart(values=VALUES, *, gap=timedelta(days=3), style="line") -> Chart:
    series = [
        Series("Alone", [Point(START + gap * at, value) for at, value in enumerate(values)], style),
        Series("Plan", [Point(START + gap * at, value + 1.5) for at, value in enumerate(values)], style, "two"),
    ]
    events = [Event(START + gap * 2, "Covered", "deed"), Event(START - gap, "Paler", "sighting")]
    bands = [Band(START, START + gap * 7, "Bloom")]
    return Chart("Cold", "°C", ZONE, series, events, bands, zero=True)


@pytest.mark.parametrize("style", ["line", "steps", "dots"])
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


@pytest.mark.parametrize("style", ["line", "steps", "dots"])
@pytest.mark.parametrize("gap", [timedelta(minutes=5), timedelta(days=3), timedelta(days=300)])
@pytest.mark.parametrize("values", [VALUES, [2.0], [0.0, 0.0], [-40.0, 300.0], [nan], []])
def test_every_mark_lies_within_the_picture(values, gap, style):
    drawn = draw(chart(values, gap=gap, style=style))
    text = str(drawn.picture)

    across = [float(v) for v in re.findall(r' (?:x|cx|x1|x2)="([^"]+)"', text)]
    down = [float(v) for v in re.findall(r' (?:y|cy|y1|y2)="([^"]+)"', text)]
    for pairs in re.findall(r'points="([^"]+)"', text):
        for pair in pairs.split():
            x, y = map(float, pair.split(","))
            across.append(x)
            down.append(y)
    assert across
    assert min(across) >= 0
    assert max(across) <= WIDTH
    assert min(down) >= 0
    assert max(down) <= HEIGHT
    for x, y, words in json.loads(drawn.places):
        assert 0 <= x <= WIDTH
        assert 0 <= y <= HEIGHT
        assert words
    assert "style=" not in text


def test_nothing_is_no_picture():
    assert draw(Chart("Cold", "°C", ZONE)) is None


def test_the_sentence_tells_the_span_and_the_least():
    summary = draw(chart()).summary
    assert "Alone: lowest \N{MINUS SIGN}4 °C on Wed 16 Dec." in summary


def test_every_colour_of_a_mark_is_one_whose_contrast_is_measured():
    css = (Path(fruitwall.web.__file__).parent / "charts" / "chart.css").read_text("utf-8")
    for look in ("one", "two", "three"):
        for kind in ("line", "dot"):
            colour = re.search(rf"\.chart-{kind}\.{look} {{[^}}]*var\(--([\w-]+)\)", css)[1]
            assert PAIRS[colour, "paper"] >= SIGN
