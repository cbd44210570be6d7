"""What the evening page tells."""

from __future__ import annotations

import gzip
from datetime import timedelta

import pytest

from fruitwall.service.evening_document import HourOfTree
from fruitwall.web.margins import BANDS
from tests.web.markup import Element, read_page
from tests.web.sample import (
    FAHRENHEIT,
    FATES,
    LONG_NAME,
    NOW,
    SUNSET,
    calm_plan,
    demo_yard,
    large_evening,
    sample_plan,
    sample_yard,
    spread_around,
)


@pytest.fixture
def page(client) -> Element:
    """The page of the sample evening."""
    return read_page(client.get("/").text)


def show(client_of, *arguments, **options) -> Element:
    """Give the page of another evening."""
    answer = client_of(*arguments, **options).get("/")
    assert answer.status_code == 200
    return read_page(answer.text)


def in_full(client_of, tree: str, *arguments) -> Element:
    """Give the page of one tree's night, as the evening page leads to it."""
    client = client_of(*arguments)
    link = read_page(client.get("/").text).one(id=f"tree-{tree}").one("a", cls="in-full")
    answer = client.get(link.attributes["href"])
    assert answer.status_code == 200
    return read_page(answer.text)


def rows_of(page: Element) -> list[Element]:
    """Give the rows of the strip."""
    return list(page.one(id="night").all("li", cls="row"))


# ---------------------------------------------------------------- verdict


def test_the_verdict_is_the_heading_and_the_night_is_named(page):
    assert page.one("h1").text == sample_plan().verdict
    assert page.one("p", cls="night").text == "Tonight, Tuesday 22 December 2026, to the morning of Wed 23 Dec"


def test_minimum_and_source_of_the_forecast_are_told_with_their_spread_and_age(page):
    told = page.one("dl", cls="forecast").text

    assert "−1.7 °C (8 chances in 10: −3.0 to −0.4 °C)" in told
    assert "dew point −6.2 °C, wind 0.9 m/s, clear sky" in told
    assert "Ensemble forecast for the valley station; issued Tue 22 Dec, 11:00 (3 h ago), 50 possible courses" in told


def test_a_household_that_reads_fahrenheit_gets_it_everywhere(client_of):
    yard = sample_yard(display=FAHRENHEIT)

    page = show(client_of, sample_plan(yard=yard), yard)

    assert "29 °F (8 chances in 10: 27 to 31 °F); dew point 21 °F, wind 2 mph" in page.one("dl", cls="forecast").text
    assert "3.6 °F or more to spare" in page.one("ul", cls="scale-legend").text
    assert "105 ft from west to east" in page.one(id="yard").text
    facts = page.one(id="tree-papaya").one("dl", cls="facts").text
    assert "First hurt at 31 °F" in facts
    assert "4 °F short" in facts
    assert page.one(id="night").text.count("°C") == 0


def test_an_old_forecast_is_warned_of(client_of):
    fresh = show(client_of)
    old = show(client_of, now=NOW + timedelta(hours=8))

    assert not list(fresh.all("p", cls="warning"))
    assert "issued 11 h ago" in old.one("p", cls="warning").text


def test_warnings_of_the_forecast_are_shown(client_of):
    forecast = sample_plan().forecast.model_copy(update={"warnings": ["two hours of wind are missing"]})

    page = show(client_of, sample_plan(forecast=forecast))

    assert "To know Two hours of wind are missing" in page.one("dl", cls="forecast").text


def test_coming_nights_are_linked_with_their_minima(page):
    links = [(link.attributes["href"], link.text) for link in page.one("ul", cls="nights").all("a")]

    assert links == [
        ("/night/2026-12-23", "Wed 23 Dec −0.6 °C"),
        ("/night/2026-12-24", "Thu 24 Dec 1.4 °C"),
        ("/night/2026-12-25", "Fri 25 Dec 3.9 °C"),
    ]


# ---------------------------------------------------------------- strip


def test_every_tree_is_in_the_strip_once(page):
    links = [row.one("a").attributes["href"] for row in rows_of(page)]

    assert sorted(links) == sorted(f"#tree-{tree.id}" for tree in demo_yard().trees)


def test_trees_that_get_something_come_first_and_the_most_endangered_first_among_them(page):
    plans = {tree.id: tree for tree in sample_plan().trees}
    order = [plans[row.one("a").attributes["href"].removeprefix("#tree-")] for row in rows_of(page)]
    acting = [tree.measure != "leave" for tree in order]
    harm = [tree.chance_of_harm["nothing"] for tree in order if tree.measure != "leave"]

    assert acting == sorted(acting, reverse=True)
    assert harm == sorted(harm, reverse=True)


def test_trees_that_are_safe_by_themselves_are_folded_away(page):
    folded = next(e for e in page.one("div", cls="strip").all("details"))

    names = {link.attributes["href"] for link in folded.all("a")}

    assert folded.one("summary").text == f"{len(names)} trees safe without help"
    assert "#tree-peach" in names
    assert "#tree-guava" not in names


def test_a_tree_with_a_measure_shows_both_courses_and_another_one_only_its_own(page):
    courses = {
        row.one("a").attributes["href"]: [label.text for label in row.all("span", cls="course-label")]
        for row in rows_of(page)
    }

    assert courses["#tree-papaya"] == ["alone", "plan"]
    assert courses["#tree-guava"] == ["alone"]


def test_each_course_is_told_in_words_too(page):
    row = next(row for row in rows_of(page) if row.one("a").attributes["href"] == "#tree-papaya")
    alone, planned = (course.attributes["aria-label"].replace("\xa0", " ") for course in row.all("svg", cls="course"))

    assert alone == "If nothing is done: beyond what it stands from 02:00 to 06:00, lowest margin 2.0 K short at 06:00."
    assert planned.startswith("With the plan: near what it stands, lowest margin 1.")


def test_a_block_tells_its_band_by_height_and_number_as_well_as_by_colour(page):
    row = next(row for row in rows_of(page) if row.one("a").attributes["href"] == "#tree-soursop")
    picture = next(row.all("svg", cls="course"))
    outlines = {}
    for block in picture.all("path"):
        (band,) = block.classes - {"block"}
        first = block.attributes["d"].split("z")[0]
        outlines[band] = (float(first.split("v")[1].split("h")[0]), block.attributes["d"].count("z"))
    figures = [text.text for text in picture.all("text")]

    assert outlines["safe"][0] < outlines["near"][0] < outlines["beyond"][0]
    assert outlines["far"][1] == 2 * sum(figure in ("−3", "−4", "−5") for figure in figures)  # two stones each
    assert figures == ["1", "0", "−1", "−1", "−2", "−3", "−3", "−4", "−4", "−5", "−2"]


def test_the_table_holds_the_same_numbers_for_every_hour(page):
    table = page.one("details", cls="as-table").one("table")
    hours = [head.text for head in table.one("thead").all("th")][2:]
    papaya = [cell.text for row in table.one("tbody").all("tr") if "Papaya" in row.text for cell in row.all("td")]

    assert hours == ["16", *[f"{hour % 24:02d}" for hour in range(17, 33)]]
    assert len(papaya) == 17
    assert papaya[12:15] == ["−2", "−2", "−3"]


def test_the_strip_is_told_in_a_sentence(page):
    assert page.one(id="night").one("p", cls="summary").text == (
        "With nothing done, 21 of 34 trees would more likely than not go beyond what they stand, the first at 23:00; "
        "with the plan, 6."
    )


def test_hours_run_from_the_one_of_sunset_to_two_after_sunrise(client_of):
    plan = sample_plan()
    early = [hour.model_copy(update={"time": hour.time - timedelta(days=1)}) for hour in plan.trees[0].hours]
    tree = plan.trees[0].model_copy(update={"hours": early + plan.trees[0].hours})

    page = show(client_of, plan.model_copy(update={"trees": [tree, *plan.trees[1:]]}))

    axis = [text.text for text in page.one("svg", cls="axis").all("text")]
    assert len(axis) == 17 + 2
    assert axis[-2:] == ["sunset 16:44", "sunrise 06:52"]


def test_an_hour_of_which_nothing_is_known_is_shown_as_unknown(client_of):
    plan = sample_plan()
    tree = plan.trees[0].model_copy(update={"hours": plan.trees[0].hours[:5]})

    page = show(client_of, plan.model_copy(update={"trees": [tree, *plan.trees[1:]]}))

    first = next(row for row in rows_of(page) if row.one("a").attributes["href"] == f"#tree-{tree.id}")
    assert [text.text for text in next(first.all("svg", cls="course")).all("text")] == ["?"] * 12


def test_a_plan_without_hours_says_so(client_of):
    plan = sample_plan()
    bare = plan.model_copy(update={"trees": [tree.model_copy(update={"hours": []}) for tree in plan.trees]})

    assert "The plan holds no hours for this night." in show(client_of, bare).one(id="night").text


def test_the_night_the_clocks_change_shows_its_hour_twice(client_of):
    # In Los Angeles 2026-11-01 09:00 UTC is the second 01:00 of that night.
    shift = timedelta(days=-52)
    plan = sample_plan(sunset=SUNSET + shift, sunrise=SUNSET + shift + timedelta(hours=13))
    trees = [
        tree.model_copy(
            update={
                "hours": [
                    HourOfTree(
                        time=hour.time + shift,
                        tissue_c=spread_around(1),
                        tissue_if_nothing_c=spread_around(1),
                        air_c=spread_around(1),
                        margin_k=1,
                        margin_if_nothing_k=1,
                    )
                    for hour in tree.hours
                ]
            }
        )
        for tree in plan.trees
    ]

    page = show(client_of, plan.model_copy(update={"trees": trees}))

    hours = [head.text for head in page.one("details", cls="as-table").one("thead").all("th")][2:]
    assert hours[8:11] == ["01", "01", "02"]


# ---------------------------------------------------------------- checklist


def test_other_ways_through_the_night_stand_beside_the_plan(page):
    section = page.one(id="ways")
    names = list(section.one("thead").all("th"))
    rows = [list(row.all("td")) for row in section.one("tbody").all("tr")]
    nothing, last, plan, everything = zip(*rows, strict=True)

    assert [row.one("th").text for row in section.one("tbody").all("tr")] == [
        "Expected loss", "A tree lost", "Trees", "Work", "Lifts", "kWh",
    ]  # fmt: skip
    assert [cell.text for cell in nothing] == ["1,710 USD", "over 99 %", "0", "0 min", "0", "0.0"]
    assert [name.text for name in names][1] == "The same as on Tue 22 Dec"
    assert [cell.text for cell in plan] == ["1,131 USD", "80 %", "3", "1 h 35 min", "2", "4.7"]
    assert all(cell.attributes["class"] == "chosen" for cell in (names[2], *plan))
    assert not any("class" in cell.attributes for cell in (*nothing, *last, *everything))
    assert "Everything possible: as if there were gear, power and people without limit." in section.text


def test_no_comparison_is_shown_where_none_was_made(client_of):
    assert not list(show(client_of, calm_plan()).all("section", cls="ways"))


def test_tasks_stand_in_walking_order_under_their_occasions(page):
    section = page.one(id="before-dark")
    tasks = [task.one("span", cls="what").text for task in section.all("li", cls="task")]

    assert [heading.text for heading in section.all("h3")] == [
        "While the sun is still on the ground",
        "Before sunset",
        "Before bed",
    ]
    assert tasks == [task.what for task in sample_plan().tasks]


def test_a_task_tells_deadline_minutes_person_trees_steps_and_cautions(page):
    heater = next(task for task in page.one(id="before-dark").all("li", cls="task") if "Set the heater" in task.text)

    assert heater.one("p", cls="terms").text == "by 16:54 · 9 min · Wendell"
    assert [link.text for link in heater.one("p", cls="for").all("a")] == ["16 Soursop", "17 Wax jambu", "18 Carambola"]
    assert len(list(heater.one("ul", cls="steps").all("li"))) == 3
    assert [caution.text[:14] for caution in heater.all("p", cls="caution")] == ["At least 0.9 m", "Somebody stays"]


def test_a_caution_stands_in_full_once_and_is_pointed_to_after_that(client_of):
    tasks = sample_plan().tasks
    first = tasks[1].model_copy(update={"cautions": ["Mind the step."]})
    second = tasks[2].model_copy(update={"cautions": ["Mind the step.", "Mind the pond."]})
    third = tasks[3].model_copy(update={"cautions": ["Mind the pond."]})

    page = show(client_of, sample_plan(tasks=[first, second, third]))

    told = [[c.text for c in task.all("p", cls="caution")] for task in page.one(id="before-dark").all("li", cls="task")]
    assert told[0][1:] == ["Mind the step."]  # after the lifting index
    assert told[1][1:] == ["Mind the pond.", "Other cautions as above."]
    assert told[2] == ["Cautions as above."]


def test_a_task_begins_with_a_capital_letter(client_of):
    task = sample_plan().tasks[0].model_copy(update={"what": "bring Cacao into Hallway"})

    assert show(client_of, sample_plan(tasks=[task])).one(id="before-dark").one("span", cls="what").text == (
        "Bring Cacao into Hallway"
    )


def test_a_deadline_that_has_passed_is_called_passed(page):
    terms = [task.text for task in page.one(id="before-dark").all("p", cls="terms")]

    assert terms[0].startswith("by 13:54 (passed)")
    assert not any("passed" in term for term in terms[1:])


@pytest.mark.parametrize(
    ("index", "words"), [(0.82, "within the lifting limit"), (1.24, "take a second person"), (3.2, "do not lift this")]
)
def test_a_lifting_index_is_told_in_words(client_of, index, words):
    task = sample_plan().tasks[1].model_copy(update={"lifting_index": index})

    assert words in show(client_of, sample_plan(tasks=[task])).one(id="before-dark").text


def test_ticks_have_names_that_survive_a_new_plan_of_the_same_night_and_differ_between_tasks(client_of, page):
    def keys(of: Element) -> list[str]:
        return [box.attributes["data-task"] for box in of.all("input")]

    moved = [task.model_copy(update={"order": 11 - task.order, "minutes": 1.0}) for task in sample_plan().tasks]
    again = show(client_of, sample_plan(tasks=moved))
    other_night = show(client_of, sample_plan(night=sample_plan().night + timedelta(days=1)))

    assert len(set(keys(page))) == 12
    assert set(keys(again)) == set(keys(page))
    assert not set(keys(other_night)) & set(keys(page))


def test_morning_tasks_stand_apart(page):
    assert [task.text for task in page.one(id="morning").all("span", cls="what")] == [
        "Open the hoop frame",
        "Heater and lamps off, blanket and film off",
    ]


# ---------------------------------------------------------------- risks, limits, trees


def test_what_stays_at_risk_is_told_with_its_chance_and_reason(page):
    risks = [risk.text for risk in page.one(id="at-risk").one("ul").all("li")]

    assert len(risks) == len(sample_plan().at_risk)
    assert risks[0] == (
        "3 Banana at the corner 90 % chance of burnt leaf or worse. "
        "The gear, people and effort at hand do more good elsewhere."
    )


def test_what_holds_the_plan_back_comes_dearest_first_and_says_what_one_more_would_buy(client_of):
    page = show(client_of, sample_plan(limits=sample_plan().limits[::-1]))

    limits = [limit.text for limit in next(page.one(id="limits").all("ul")).all("li")]

    assert limits == [
        "Small fleece 3 of 3 sheets, holds the plan back One more would save 38 USD (Guava would fare better).",
        "Patio outlet 1,675 of 1,920 W, holds the plan back 100 more W would save 22 USD "
        "(Old lychee would fare better).",
    ]


def test_what_would_not_help_if_there_were_more_is_folded_away(client_of):
    used_up = (
        sample_plan()
        .limits[0]
        .model_copy(
            update={"name": "Heater", "one_more": "One more would change next to nothing.", "one_more_saves": 0.0}
        )
    )

    page = show(client_of, sample_plan(limits=[used_up, *sample_plan().limits[1:]]))

    folded = page.one(id="limits").one("details")
    assert folded.one("summary").text == "4 that would not help if there were more"
    assert next(limit.text for limit in folded.all("li")) == "Heater 3 of 3 sheets, all in use"


def test_each_tree_tells_measure_reason_runner_up_chain_chances_and_following_nights(page, client_of):
    plan = next(tree for tree in sample_plan().trees if tree.id == "papaya")
    tree = in_full(client_of, "papaya").one("main")

    for told in (page.one(id="tree-papaya"), tree):
        assert plan.reason in told.text
        assert f"Next best: {plan.runner_up}" in told.text
        following = told.one("ul", cls="following").all("li")
        assert next(night.text for night in following) == "Wed 23 Dec cover with a small fleece"
    assert tree.one("h1").text.endswith("Papaya")
    assert [part.one("b").text for part in tree.one("ol", cls="chain").all("li")] == [part.value for part in plan.chain]
    rows = {
        row.one("th").text: [cell.text for cell in row.all("td")]
        for row in tree.one("table", cls="outcomes").one("tbody").all("tr")
    }
    assert list(rows) == ["unhurt", "paler leaves", "leaves burnt", "twigs or limbs dead", "tree dead"]
    assert rows["leaves burnt"] == [
        f"{100 * sum(plan.injury.nothing[2:5]):.0f} %",
        f"{100 * sum(plan.injury.chosen[2:5]):.0f} %",
    ]


def test_each_tree_tells_how_its_cold_comes_about_in_a_sum_that_adds_up(client_of):
    table = in_full(client_of, "papaya").one("table", cls="cold")
    plan = next(tree for tree in sample_plan().trees if tree.id == "papaya")

    assert table.one("caption").text.startswith("How the coldest hour of its leaves comes about (°C)")
    rows = [
        (row.attributes["class"], next(row.all("th")).text, [cell.text for cell in row.all("td")])
        for row in table.one("tbody").all("tr")
    ]
    assert rows[0] == ("start", "Station air its coldest hour", ["", "−1.7"])
    assert [kind for kind, _, _ in rows] == ["start", *["part"] * 5, "total", "part", "total"]
    assert rows[6][2] == ["", f"{plan.cold.alone_c:.1f}".replace("-", "−")]
    assert rows[-1][1] == "Leaves, with the plan"
    told = -1.7
    for kind, _, (adds, makes) in rows[1:]:
        if kind == "part":
            told = round(told + float(adds.split()[0].replace("−", "-")), 1)
        assert float(makes.replace("−", "-")) == told


def test_a_tree_of_whose_cold_nothing_is_known_has_no_such_table(client_of):
    trees = [tree.model_copy(update={"cold": None}) for tree in sample_plan().trees]

    assert not list(in_full(client_of, "papaya", sample_plan(trees=trees)).all("table", cls="cold"))


@pytest.mark.parametrize("address", ["/night/2026-12-22/trees/nobody", "/night/soon/trees/papaya"])
def test_a_tree_or_a_night_that_is_not_there_has_no_page(client, address):
    assert client.get(address).status_code == 404


def test_the_outcomes_share_out_all_grades():
    from fruitwall.web.evening.trees import OUTCOMES

    assert sorted(grade for _, _, grades in OUTCOMES for grade in grades) == list(range(8))


def test_a_tree_that_is_left_as_it_is_shows_no_second_column(client_of):
    tree = in_full(client_of, "guava").one("main")

    assert len(list(tree.one("table", cls="outcomes").one("thead").all("th"))) == 2
    assert "with the plan" not in tree.text


def test_names_cannot_break_out_of_the_page(client_of):
    hostile = "<script>alert(1)</script>\"'&"
    plan = sample_plan()
    tree = plan.trees[0].model_copy(update={"name": hostile, "reason": hostile, "cultivar": None})
    task = plan.tasks[0].model_copy(update={"what": hostile, "trees": [tree.id]})

    client = client_of(plan.model_copy(update={"trees": [tree, *plan.trees[1:]], "tasks": [task], "verdict": hostile}))
    text = client.get("/").text

    assert "<script>alert" not in text
    page = read_page(text)
    assert page.one("h1").text == hostile
    assert hostile in page.one(id="yard").one("svg", cls="yard").text or any(
        hostile in link.attributes.get("aria-label", "") for link in page.one("svg", cls="yard").all("a")
    )


def test_every_link_within_the_page_has_its_goal_and_no_id_comes_twice(page):
    ids = [element.attributes["id"] for element in page.all() if "id" in element.attributes]
    goals = {element.attributes["href"][1:] for element in page.all("a") if element.attributes["href"].startswith("#")}

    assert len(ids) == len(set(ids))
    assert goals <= set(ids)


def test_the_foot_tells_when_the_plan_was_made_and_how_sure_it_is(client_of):
    exact = show(client_of)
    solver = sample_plan().solver.model_copy(update={"status": "gap", "gap": 0.034, "seconds": 2.0})
    gap = show(client_of, sample_plan(solver=solver))

    assert (
        "Made Tue 22 Dec, 13:56 (4 min ago). Best plan proven for 3 nights together, in 0.4 s."
        in exact.one("footer").text
    )
    assert "a better plan could save at most 3 % of its cost" in gap.one("footer").text


# ---------------------------------------------------------------- other evenings


def test_a_night_with_nothing_to_do_says_so_and_hides_nothing(client_of):
    page = show(client_of, calm_plan())

    assert page.one(id="before-dark").one("p", cls="nothing").text == "Nothing has to be done."
    assert page.one(id="at-risk").one("p", cls="nothing").text == "No tree stays in danger."
    assert page.one(id="limits").one("p", cls="nothing").text == "Nothing limits this plan."
    assert page.one(id="morning").one("p", cls="nothing").text == "Nothing has to be undone."
    assert len(rows_of(page)) == 34
    assert not list(page.all("input"))


def test_a_night_on_which_nothing_helps_is_not_called_a_quiet_one(client_of):
    page = show(client_of, sample_plan(tasks=[]))

    assert page.one(id="before-dark").one("p", cls="nothing").text == "Nothing at hand is worth doing."


def test_a_yard_of_150_trees_with_long_names_still_weighs_little(client_of):
    yard, plan = large_evening(150)
    client = client_of(plan, yard)

    answer = client.get("/")

    assert len(gzip.compress(answer.content)) < 150_000
    page = read_page(answer.text)
    assert len(rows_of(page)) == 150
    assert any(LONG_NAME in row.text for row in rows_of(page))


def test_a_tree_that_the_yard_no_longer_has_is_still_shown(client_of):
    fewer = sample_yard(trees=demo_yard().trees[1:])

    page = show(client_of, sample_plan(), fewer)

    assert len(rows_of(page)) == 34
    assert len(list(page.one("svg", cls="yard").all("a"))) == 34


def test_every_verdict_occurs_in_words_where_it_occurs_as_a_sign(page):
    words = {summary.one("span", cls="entry-verdict").text for summary in page.one(id="trees").all("summary")}
    legend = page.one(id="yard").text

    assert words <= {"safe", "watch", "danger", "deadly"}
    assert all(f"{word}:" in legend for word in words)


def test_bands_and_fates_of_the_sample_cover_the_whole_scale():
    margins = [fate.alone_c - fate.stands_c for fate in FATES.values()]

    for band in BANDS:
        assert any(margin >= band.from_k for margin in margins)
    assert min(margins) < -2
