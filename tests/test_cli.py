"""The commands as a person types them: what they print, and how they refuse."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import NamedTuple

import jsonschema
import numpy as np
import pytest

from fruitwall import cli
from fruitwall.cli import told
from fruitwall.journal.entries import Reading
from fruitwall.journal.ledger import Ledger
from fruitwall.journal.opening import open_journal
from fruitwall.service.evening import PREPARING, STAGES
from fruitwall.yard.demo import demo_yard_text
from tests.yard.yards import SMALL_YARD, edited

START = datetime.fromisoformat("2026-12-22T00:00:00-08:00")
EVENING = "2026-12-22T15:00"


SMALL_COVER = """gear:
  covers:
    - {id: napkin, name: Napkin, material: bed_sheet, width: 50 cm, length: 50 cm}"""
TWO_BLANKETS = """gear:
  covers:
    - {id: blanket, name: Blanket, material: frost_blanket, width: 7 m, length: 7 m, count: 2}
people:
  - {id: ana, name: Ana, minutes_before_dusk: 60}
"""
LOCAL_NIGHT = "time,t_air [C],dew_point [C]\n" + "".join(f"2026-11-01 {hour:02d}:00,3,-1\n" for hour in (0, 1, 2, 3, 4))
"""Local times of the night in which clocks go back in California: one o'clock comes twice, and stands here once."""

NEGATIVE_LAMPS = """gear:
  lamps:
    - {id: lamps, name: Lamps, watts: -25 W}"""


class Printed(NamedTuple):
    """What a command left behind."""

    status: int
    out: str
    err: str


Run = Callable[..., Printed]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> Run:
    """Run the command in this process, with a journal of its own."""

    def call(*arguments: object) -> Printed:
        monkeypatch.setattr(sys, "argv", ["fruitwall", *map(str, arguments)])
        monkeypatch.setenv("FRUITWALL_DATABASE", str(tmp_path / "journal.db"))
        status = 0
        try:
            cli.main()
        except SystemExit as left:
            status = left.code if isinstance(left.code, int) else 0
        printed = capsys.readouterr()
        return Printed(status, printed.out, printed.err)

    return call


def forecast_csv(minimum_c: float = -3.0, hours: int = 60, **changes: str) -> str:
    """Write two days that fall to a minimum before sunrise; `changes` replaces the row of an hour."""
    rows = ["time,t_air [C],dew_point [C],wind [m/s],cloud [%],ghi [W/m2]"]
    for hour in range(hours):
        time = START + timedelta(hours=hour)
        warmth = (1 - np.cos(2 * np.pi * (hour - 6) / 24)) / 2
        sun = max(0.0, 500 * np.sin(np.pi * ((hour % 24) - 7) / 10)) if 7 <= hour % 24 <= 17 else 0.0
        air = minimum_c + 14 * warmth
        row = f"{time.isoformat()},{air:.2f},{minimum_c - 3:.2f},1.0,0,{sun:.0f}"
        rows.append(changes.get(f"h{hour}", row))
    return "\n".join(rows) + "\n"


@pytest.fixture
def yard_file(tmp_path: Path) -> Path:
    file = tmp_path / "yard.yaml"
    file.write_text(SMALL_YARD)
    return file


@pytest.fixture
def cold(tmp_path: Path) -> Path:
    file = tmp_path / "cold.csv"
    file.write_text(forecast_csv())
    return file


def refused(printed: Printed, *words: str) -> None:
    """Check that a command refused in one clear message, with status 2 and without a traceback."""
    assert printed.status == 2, printed
    assert printed.out == ""
    assert "Traceback" not in printed.err
    for word in words:
        assert word in printed.err


# ---------------------------------------------------------------- the main job


def test_a_cold_night_needs_something_and_exits_with_3(run: Run, yard_file: Path, cold: Path) -> None:
    printed = run("tonight", "--yard", yard_file, "--forecast", cold, "--now", EVENING, "--members", 8)

    assert printed.status == 3, printed.err
    assert "Small yard, night of Tuesday 22 December 2026" in printed.out
    assert "Mango" in printed.out


def test_a_warm_night_needs_nothing_and_exits_with_0(run: Run, yard_file: Path, tmp_path: Path) -> None:
    warm = tmp_path / "warm.csv"
    warm.write_text(forecast_csv(minimum_c=9.0))

    printed = run("tonight", "--yard", yard_file, "--forecast", warm, "--now", EVENING, "--members", 8)

    assert printed.status == 0, printed.err
    assert "Nothing needs doing tonight" in printed.out


def test_the_json_plan_keeps_to_the_published_schema(run: Run, yard_file: Path, cold: Path) -> None:
    schema = json.loads(run("schema", "evening-plan").out)
    printed = run("tonight", "--yard", yard_file, "--forecast", cold, "--now", EVENING, "--members", 8, "--json")

    plan = json.loads(printed.out)
    jsonschema.validate(plan, schema, cls=jsonschema.Draft202012Validator)
    wanted = {"night", "forecast", "trees", "tasks", "limits", "at_risk", "cautions", "solver"}
    assert wanted <= set(plan)
    assert {t["id"] for t in plan["trees"]} == {"mango-1", "lime-1"}
    assert plan["trees"][0]["tissue_min_c"]["nothing"]["p10"] <= plan["trees"][0]["tissue_min_c"]["nothing"]["p90"]


def test_the_explanation_goes_from_station_to_risk(run: Run, yard_file: Path, cold: Path) -> None:
    arguments = ("tonight", "--yard", yard_file, "--forecast", cold, "--now", EVENING, "--members", 8)
    printed = run(*arguments, "--explain", "mango")

    for link in ("Station air, minimum", "Air at the tree", "Looks up into", "Harm to", "Chance of harm"):
        assert link in printed.out


def test_the_explanation_sums_up_from_the_station_to_the_leaf(run: Run, yard_file: Path, cold: Path) -> None:
    arguments = ("tonight", "--yard", yard_file, "--forecast", cold, "--now", EVENING, "--members", 8)
    lines = run(*arguments, "--explain", "mango").out.splitlines()

    first = next(at for at, line in enumerate(lines) if line.startswith("Station air  "))
    last = next(at for at, line in enumerate(lines) if line.startswith("= Leaves, left alone"))
    assert lines[first - 2].startswith("How the coldest hour of its leaves comes about (°C)")
    told = None
    for line in lines[first : last + 1]:
        figures = re.findall(r"(?<=  )([+\N{MINUS SIGN}]?\d+\.\d)(?=  |$)", line)
        if not figures:
            continue  # the second line of a long note
        adds, makes = (float(text.replace("\N{MINUS SIGN}", "-")) for text in (figures[0], figures[1 % len(figures)]))
        told = makes if told is None else told if line.startswith("=") else round(told + adds, 1)
        assert makes == told, line
    assert last - first >= 4


def test_preparing_is_told_apart_from_what_is_printed(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys.stderr, "isatty", lambda: False, raising=False)
    for quiet in (False, True):
        with told.progress(quiet=quiet) as report:
            report(STAGES[0])
            report(PREPARING)
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err == f"fruitwall is {PREPARING}\n"


def test_the_pages_can_be_served_as_from_another_moment(
    run: Run, yard_file: Path, cold: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run("yard", "import", yard_file)
    cold.write_text(forecast_csv(hours=90))
    served = []
    monkeypatch.setattr(
        cli.evening, "serve_pages", lambda plan_for, yard, clock, *_: served.append((plan_for(None), clock()))
    )

    assert run("serve", "--forecast", cold, "--now", EVENING).status == 0
    assert run("serve", "--forecast", cold, "--now", EVENING, "--date", "2026-12-23").status == 0

    (first, then), (second, _) = served
    assert first.night == date(2026, 12, 22)
    assert then == datetime.fromisoformat("2026-12-22T15:00:00-08:00")
    assert second.night == date(2026, 12, 23)
    refused(run("serve", "--forecast", cold, "--now", "noon"), "--now")


def test_several_yards_are_told_how_to_choose(run: Run, yard_file: Path, cold: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.yaml"
    other.write_text(edited("name: Small yard", "name: Other yard"))
    run("yard", "import", yard_file)
    run("yard", "import", other)

    for command in (("tonight", "--forecast", cold, "--now", EVENING), ("serve", "--now", EVENING)):
        refused(run(*command), "several yards", '"Other yard", "Small yard"', "--yard NAME")


def test_the_same_seed_gives_the_same_plan(run: Run, yard_file: Path, cold: Path) -> None:
    arguments = ("tonight", "--yard", yard_file, "--forecast", cold, "--now", EVENING, "--members", 6, "--json")
    first, second = (json.loads(run(*arguments).out) for _ in range(2))

    for plan in (first, second):
        plan["solver"].pop("seconds")
    assert first == second


def test_what_else_could_be_done_stands_beside_the_plan(run: Run, yard_file: Path, cold: Path) -> None:
    printed = run("tonight", "--yard", yard_file, "--forecast", cold, "--now", EVENING, "--members", 4, "--compare")

    for way in ("do nothing", "the plan", "everything possible"):
        assert way in printed.out
    assert "the same as" not in printed.out  # there is no last time


def test_the_worst_cases_can_be_weighed(run: Run, yard_file: Path, cold: Path) -> None:
    arguments = ("tonight", "--yard", yard_file, "--forecast", cold, "--now", EVENING, "--members", 10, "--worst-case")

    assert "worst tenth" in run(*arguments, 0.5).out
    assert run(*arguments, 1.5).status == 2


# ---------------------------------------------------------------- the yard in the journal


def test_a_yard_comes_back_byte_for_byte(run: Run, tmp_path: Path) -> None:
    text = demo_yard_text().replace("\n", "\r\n")
    (tmp_path / "mine.yaml").write_bytes(text.encode())
    run("yard", "import", tmp_path / "mine.yaml")
    run("yard", "export", "--to", tmp_path / "back.yaml")

    assert (tmp_path / "back.yaml").read_bytes() == (tmp_path / "mine.yaml").read_bytes()


def test_an_export_does_not_overwrite_unasked(run: Run, yard_file: Path, tmp_path: Path) -> None:
    run("yard", "import", yard_file)
    (tmp_path / "there.txt").write_text("mine")

    refused(run("yard", "export", "--to", tmp_path / "there.txt"), "exists already", "--force")
    assert (tmp_path / "there.txt").read_text() == "mine"


def test_what_is_ticked_stays_done_and_the_plan_says_what_is_left(run: Run, tmp_path: Path) -> None:
    (tmp_path / "helped.yaml").write_text(edited("taxon: mango", "taxon: mango\n    worth: 20000") + TWO_BLANKETS)
    run("yard", "import", tmp_path / "helped.yaml")
    cold = tmp_path / "three_days.csv"
    cold.write_text(forecast_csv(hours=84))
    arguments = ("tonight", "--forecast", cold, "--members", 6, "--json", "--now")
    first = json.loads(run(*arguments, "2026-12-22T15:00").out)
    refused(run(*arguments, "2026-12-22T22:00", "--done", "99"), "--done 99", "checklist")
    second = json.loads(run(*arguments, "2026-12-22T22:00", "--done", "1").out)
    third = json.loads(run(*arguments, "2026-12-22T22:30").out)

    key = first["tasks"][0]["key"]
    for plan in (second, third):
        assert [task["key"] for task in plan["done"]] == [key]
        assert key not in [task["key"] for task in plan["tasks"]]
    nextday = json.loads(run(*arguments, "2026-12-23T15:00").out)
    assert nextday["done"] == []
    assert "last" in [way["key"] for way in nextday["compare"]]


def test_an_imported_forecast_serves_tonight(run: Run, yard_file: Path, cold: Path) -> None:
    run("yard", "import", yard_file)
    kept = run("weather", "import", cold, "--now", EVENING)
    printed = run("tonight", "--now", EVENING, "--members", 6)

    assert kept.status == 0, kept.err
    assert printed.status == 3, printed.err


def test_weather_show_lists_the_nights(run: Run, yard_file: Path, cold: Path) -> None:
    printed = run("weather", "show", cold, "--yard", yard_file, "--now", EVENING)

    assert printed.status == 0, printed.err
    assert "Tue 22 Dec" in printed.out


def test_weather_show_tells_what_readings_taught_of_forecasts(
    run: Run, yard_file: Path, cold: Path, tmp_path: Path
) -> None:
    run("yard", "import", yard_file)
    run("weather", "import", cold, "--now", "2026-12-22T08:00")
    with open_journal(tmp_path / "journal.db") as journal:
        morning = datetime(2026, 12, 23, 14, 30, tzinfo=UTC)
        read = Reading("post", "air_temperature_c", morning, -4.0)
        Ledger(journal, None).add_readings([read], received=morning)
    printed = run("weather", "show", cold, "--now", "2026-12-23T15:00")

    assert printed.status == 0, printed.err
    assert "Nothing sure can be said yet of how forecasts miss here, after 1 night." in printed.out
    assert "For a clear calm night the plan takes the forecast of its minimum" in printed.out


def test_an_empty_journal_says_how_to_begin(run: Run) -> None:
    refused(run("tonight", "--now", EVENING), "yard import")


# ---------------------------------------------------------------- bad input: one message, status 2, nothing written


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("taxon: mango", "taxon: mangoo"), ("mangoo", "mango", "line")),
        (("position: [5, 5]", "position: [55, 5]"), ("outside", "line")),
        (("height: 2 m", "height: 2 kg"), ("length", "2 kg", "line")),
        (("height: 2 m", "height: -2 m"), ("height", "line")),
        (("time_zone: America/Los_Angeles", "time_zone: America/Nowhere"), ("time_zone", "America/Nowhere")),
        (("gear_store: [1, 1]", f"gear_store: [1, 1]\n{SMALL_COVER}"), ("cover", "small", "line")),
        (("gear_store: [1, 1]", f"gear_store: [1, 1]\n{NEGATIVE_LAMPS}"), ("watts", "-25", "line")),
    ],
    ids=["kind", "outside", "unit", "negative height", "zone", "cover too small", "negative watts"],
)
def test_a_wrong_yard_file_is_refused_with_its_line(
    run: Run, tmp_path: Path, cold: Path, change: tuple[str, str], words: tuple[str, ...]
) -> None:
    file = tmp_path / "wrong.yaml"
    file.write_text(edited(*change))

    refused(run("yard", "check", file), *words)
    refused(run("yard", "import", file), *words)
    refused(run("tonight", "--yard", file, "--forecast", cold, "--now", EVENING), *words)
    refused(run("yard", "export"), "yard import")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (forecast_csv(h20="", h21="", h22="", h23="", h24=""), ("hour",)),
        (forecast_csv(h20="2026-12-22T20:00:00-08:00,nan,-6,1,0,0"), ("air temperature",)),
        (forecast_csv().replace("t_air [C]", "t_air [kg]"), ("t_air", "kg")),
        (forecast_csv().replace("-08:00", ""), ("time", "zone")),
        (forecast_csv(hours=20), ("ends",)),
        ("", ("empty",)),
        ("{}", ("no forecast that fruitwall knows", "Open-Meteo")),
        ("# latitude: 40.7\n# longitude: -74.0\n" + forecast_csv(), ("km",)),
        (forecast_csv(h5="2026-11-01T01:30,3,-6,1,0,0"), ("time",)),
        ("# time zone: America/Los_Angeles\n" + LOCAL_NIGHT, ("missing", "2026-11-01")),
        (forecast_csv(h20="2026-12-22T20:00:00-08:00,55,-6,1,0,0"), ("55 °C", "°F")),
    ],
    ids=[
        "missing hours",
        "not a number",
        "wrong unit",
        "no zone",
        "too short",
        "empty",
        "unknown json",
        "another place",
        "mixed times",
        "hour that comes twice",
        "degrees mixed up",
    ],
)
def test_a_wrong_forecast_is_refused(
    run: Run, yard_file: Path, tmp_path: Path, text: str, words: tuple[str, ...]
) -> None:
    file = tmp_path / "wrong.csv"
    file.write_text(text)
    run("yard", "import", yard_file)

    refused(run("tonight", "--yard", yard_file, "--forecast", file, "--now", EVENING), *words)
    refused(run("weather", "import", file, "--now", EVENING), *words)
    with open_journal(tmp_path / "journal.db") as journal:
        assert journal.latest_forecast() is None
        assert journal.latest_plan(date(2026, 12, 22)) is None


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--date", "22.12.2026"), ("--date", "2026-12-22")),
        (("--now", "tonight"), ("--now",)),
        (("--explain", "mangrove"), ("mangrove", "near names", "mango-1")),
        (("--date", "2026-12-20"), ("over",)),
        (("--date", "2027-03-01"), ("ends",)),
    ],
    ids=["date", "now", "tree", "past night", "night beyond the forecast"],
)
def test_a_wrong_option_is_refused(
    run: Run, yard_file: Path, cold: Path, arguments: tuple[str, str], words: tuple[str, ...]
) -> None:
    given = ["tonight", "--yard", yard_file, "--forecast", cold, "--members", 4]
    if arguments[0] != "--now":
        given += ["--now", EVENING]
    refused(run(*given, *arguments), *words)


@pytest.mark.parametrize("option", [("--members", "0"), ("--members", "many"), ("--nights", "-1")])
def test_typer_refuses_numbers_out_of_range(run: Run, yard_file: Path, cold: Path, option: tuple[str, str]) -> None:
    printed = run("tonight", "--yard", yard_file, "--forecast", cold, *option)

    assert printed.status == 2
    assert option[0] in printed.err


def test_sheet_and_calendar_are_written_and_written_anew(run: Run, yard_file: Path, cold: Path, tmp_path: Path) -> None:
    sheet, ics = tmp_path / "sheet.html", tmp_path / "trees.ics"
    sheet.write_text("an older sheet")
    yard_file.write_text(demo_yard_text(), "utf-8")
    given = ("tonight", "--yard", yard_file, "--forecast", cold, "--now", EVENING, "--members", 4, "--nights", 1)

    printed = run(*given, "--json", "--sheet", sheet, "--ics", ics)

    plan = json.loads(printed.out)
    text = sheet.read_text("utf-8")
    assert plan["tasks"]
    assert str(sheet) in printed.err
    assert str(ics) in printed.err
    assert "an older sheet" not in text
    assert all(task["what"] in text for task in plan["tasks"])
    assert ics.read_bytes().startswith(b"BEGIN:VCALENDAR\r\n")
    assert b"UID:2026-12-22-" in ics.read_bytes()


@pytest.mark.parametrize(
    ("option", "file"), [("--sheet", "yard.yaml"), ("--ics", "sheet.html"), ("--ics", "nowhere/trees.ics")]
)
def test_a_file_that_cannot_be_meant_is_refused_and_left_alone(
    run: Run, yard_file: Path, cold: Path, tmp_path: Path, option: str, file: str
) -> None:
    before = yard_file.read_text()

    refused(run("tonight", "--yard", yard_file, "--forecast", cold, "--now", EVENING, option, tmp_path / file), option)

    assert yard_file.read_text() == before


def test_a_missing_file_is_refused_by_name(run: Run, yard_file: Path) -> None:
    refused(run("yard", "check", "nowhere.yaml"), "nowhere.yaml")
    refused(run("tonight", "--yard", yard_file, "--forecast", "nowhere.csv", "--now", EVENING), "nowhere.csv")


def test_an_unknown_schema_names_the_known_ones(run: Run) -> None:
    refused(run("schema", "tree"), "yard", "evening-plan")


def test_help_answers_without_loading_numbers() -> None:
    code = """
import sys
from fruitwall.cli import main
sys.argv = ["fruitwall", "--help"]
try:
    main()
except SystemExit:
    pass
print([name for name in ("numpy", "sqlalchemy", "fastapi", "numba", "scipy") if name in sys.modules])
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert done.stdout.strip().endswith("[]")
    assert "tonight" in done.stdout


# ---------------------------------------------------------------- kinds


def test_a_kind_is_shown_by_a_spanish_name_of_its_tree(run: Run) -> None:
    printed = run("kind", "chirimoyo")

    assert printed.status == 0, printed.err
    assert printed.out.startswith("Cherimoya, Annona cherimola (Annonaceae)")
    assert "What a grown tree stands" in printed.out


def test_a_name_of_several_words_needs_no_quotes(run: Run) -> None:
    assert run("kind", "white", "sapote").out.startswith("White sapote, Casimiroa edulis")


def test_an_unknown_kind_is_refused_with_near_names(run: Run) -> None:
    refused(run("kind", "papia"), 'no kind named "papia"', "near names: papaya")


def test_a_kind_as_document_holds_every_figure(run: Run) -> None:
    found = json.loads(run("kind", "Hass", "--json").out)

    assert found["key"] == "persea-americana-guatemalan-mexican"
    assert all(row["origin"]["title"] for row in found["statements"])


def test_kinds_are_listed_when_none_is_named(run: Run) -> None:
    assert "mango (Mangifera indica)" in run("kind").out
    assert len(json.loads(run("kind", "--json").out)) > 100


def test_degrees_of_a_kind_can_be_chosen(run: Run) -> None:
    assert "°F" in run("kind", "mango", "--unit", "F").out
    refused(run("kind", "mango", "--unit", "K"), "expected C or F")


def test_a_kind_of_the_yard_file_is_shown_in_its_units(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "own.yaml"
    own = "kinds:\n  - {id: aunt-mango, names: [Aunt mango], like: mango, hardier: 1}\n"
    file.write_text(f"{SMALL_YARD}\ndisplay: {{temperature: F}}\n{own}")

    printed = run("kind", "aunt", "mango", "--yard", file)

    assert printed.out.startswith("Aunt mango, Mangifera indica 'Aunt mango'"), printed.err
    assert "°F" in printed.out
    refused(run("kind", "aunt mango"), 'no kind named "aunt mango"')


def test_published_containers_and_covers_are_shown_and_given_as_a_document(run: Run) -> None:
    shown, document = run("gear"), run("gear", "--json")

    assert shown.status == document.status == 0
    assert "#15 (15 gal)" in shown.out
    assert "Row cover effects on minimum air temperature" in " ".join(shown.out.split())
    assert len(json.loads(document.out)["covers"]) == 21


def test_a_misspelt_kind_is_shown_with_a_word_on_it(run: Run) -> None:
    answer = run("kind", "chirimoia")

    assert answer.status == 0
    assert answer.out.startswith("No kind is named “chirimoia”. This is cherimoya")


def test_what_a_library_prints_in_c_does_not_stand_in_a_document():
    """HiGHS prints some of its troubles with printf, whatever its options say."""
    code = (
        "import ctypes, sys; from fruitwall.cli import own_output; own_output(); "
        "ctypes.CDLL(None).puts(b'from C'); ctypes.CDLL(None).fflush(None); print('ours', end='')"
    )

    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert done.stdout == "ours"
    assert "from C" in done.stderr
