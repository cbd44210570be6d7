"""Long work behind pages: progress in words, stopped, resumed, and its errors told to whoever reads."""

from __future__ import annotations

from threading import Event, Thread

import pytest
from fastapi import FastAPI, Request, Response
from starlette.responses import PlainTextResponse
from starlette.testclient import TestClient

from fruitwall.errors import JournalError
from fruitwall.service.work import Progress, Stopped
from fruitwall.speech import marked, say, told
from fruitwall.web.access.layer import AccessLayer
from fruitwall.web.assets import Assets
from fruitwall.web.pages import HERE, Pages
from fruitwall.web.winters.runner import Runner, Standing, await_work, name_of, working_page
from fruitwall.web.winters.work_routes import work_routes
from tests.web.markup import read_page

PAGE = "/winters/test?kind=a%20b"
LONG = 20.0
"""So long a test waits for what has to happen soon. [s]"""


class Steps:
    """Work whose parts go on when they are told to; it counts how often each was done."""

    def __init__(self, parts: int = 2) -> None:
        self.done: list[int] = []
        self.go = [Event() for _ in range(parts)]
        self.begun = [Event() for _ in range(parts)]
        self.error: BaseException | None = None

    def __call__(self, heard, stop) -> str:
        for number, go in enumerate(self.go):
            if number in self.done:
                continue
            if stop():
                raise Stopped
            heard(Progress(number / len(self.go), None if number == 0 else 160.0, told("winter {n}", n=1990 + number)))
            self.begun[number].set()
            assert go.wait(LONG)
            if self.error is not None:
                raise self.error
            self.done.append(number)
        return "all of it"

    def finish(self) -> None:
        for go in self.go:
            go.set()


@pytest.fixture
def runner() -> Runner:
    return Runner(most=3)


@pytest.fixture
def steps():
    made = Steps()
    yield made
    made.finish()


@pytest.fixture
def client(runner, steps, monkeypatch) -> TestClient:
    monkeypatch.setattr("fruitwall.web.winters.runner.PATIENCE_S", 0.0)
    pages, app = Pages(Assets([HERE])), FastAPI()

    @app.api_route("/winters/test", methods=["GET", "HEAD"])
    def page(request: Request, at_once: bool = False) -> Response:
        what = marked("House rules over many winters")
        takes = say("About {time} is left.", time="2 min")
        found = await_work(pages, request, runner, "key", steps, what, at_once=at_once, takes=takes)
        return found if isinstance(found, Response) else PlainTextResponse(found)

    app.include_router(work_routes(runner))
    app.add_middleware(AccessLayer, pages=pages, sessions=None)
    return TestClient(app, base_url="http://localhost", headers={"sec-fetch-site": "same-origin"})


def press(client: TestClient, page: str) -> Response:
    """Press the one button of a page."""
    form = read_page(page).one("form")
    typed = {one.attributes["name"]: one.attributes["value"] for one in form.all("input")}
    return client.post(form.attributes["action"], data=typed, follow_redirects=False)


def test_looking_begins_nothing_and_the_button_does(client, runner, steps):
    first = client.get(PAGE)
    assert first.status_code == 202
    assert "refresh" not in first.headers
    assert read_page(first.text).one("button").text == "Work it out"
    assert "About 2 min is left." in first.text
    assert runner.standing("key") == Standing()

    pressed = press(client, first.text)

    assert (pressed.status_code, pressed.headers["location"]) == (303, PAGE)
    assert client.head(PAGE).status_code == 202
    assert runner.standing("key").state == "unknown"
    assert client.get(PAGE).status_code == 202
    assert steps.begun[0].wait(LONG)


def test_how_far_it_is_stands_in_words_and_in_a_bar(client, steps):
    client.get(PAGE + "&at_once=1")
    steps.go[0].set()
    assert steps.begun[1].wait(LONG)

    answer = client.get(PAGE)
    page = read_page(answer.text)

    assert answer.status_code == 202
    assert answer.headers["refresh"] == "8"
    assert page.one("progress").attributes["value"] == "50"
    told_there = [one.text for one in page.one("main").all("p")]
    assert told_there[:3] == ["50 % done.", "About 3 min is left.", "Now: winter 1991."]


def test_done_is_shown_and_stays(client, runner, steps):
    steps.finish()
    client.get(PAGE + "&at_once=1")
    runner.wait("key", LONG)

    assert client.get(PAGE).text == client.get(PAGE).text == "all of it"
    assert steps.done == [0, 1]


def test_it_is_stopped_and_goes_on_where_it_was(client, runner, steps):
    begun = client.get(PAGE + "&at_once=1")
    assert steps.begun[0].wait(LONG)
    begun = client.get(PAGE)
    assert read_page(begun.text).one("button").text == "Stop; what is done is kept"
    press(client, begun.text)
    stopping = client.get(PAGE)
    assert "as soon as the part that is being done is finished" in stopping.text
    assert not list(read_page(stopping.text).all("form"))
    steps.finish()
    runner.wait("key", LONG)

    stopped = client.get(PAGE)
    assert "refresh" not in stopped.headers
    assert read_page(stopped.text).one("button").text == "Go on"
    assert steps.done == [0]
    press(client, stopped.text)
    client.get(PAGE)
    runner.wait("key", LONG)

    assert client.get(PAGE).text == "all of it"
    assert steps.done == [0, 1]


def test_an_error_is_told_in_the_language_of_whoever_reads_and_can_be_tried_again(client, runner, steps):
    steps.error = JournalError(told("{place} cannot be reached: {reason}", place="house.db", reason="x"))
    steps.finish()
    client.get(PAGE + "&at_once=1")
    runner.wait("key", LONG)

    english = client.get(PAGE)
    spanish = client.get(PAGE, headers={"accept-language": "es"})

    assert english.status_code == spanish.status_code == 422
    assert "house.db cannot be reached: x" in english.text
    assert "no hay conexión con house.db: x" in spanish.text
    assert "cannot be reached" not in spanish.text
    steps.error = None
    press(client, english.text)
    client.get(PAGE)
    runner.wait("key", LONG)
    assert client.get(PAGE).text == "all of it"


def test_a_defect_is_raised_once_and_then_forgotten(client, runner, steps):
    steps.error = ZeroDivisionError("of ours")
    steps.finish()
    runner.start("key", steps)
    runner.wait("key", LONG)

    with pytest.raises(ZeroDivisionError):
        client.get(PAGE)
    assert read_page(client.get(PAGE).text).one("button").text == "Work it out"


@pytest.mark.parametrize("place", ["//elsewhere.example/", "https://elsewhere.example/", "/\\elsewhere"])
def test_the_buttons_lead_nowhere_else(client, place):
    answer = client.post("/winters/progress/begin", data={"work": "ab", "place": place}, follow_redirects=False)

    assert (answer.status_code, answer.headers["location"]) == (303, "/")


def test_the_same_work_is_done_once_however_many_ask(runner, steps):
    steps.finish()
    threads = [Thread(target=runner.start, args=("key", steps)) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    runner.wait("key", LONG)
    runner.start("key", steps)

    assert runner.result("key") == "all of it"
    assert steps.done == [0, 1]
    assert runner.progress("key") is None


def test_one_thing_is_done_at_a_time_and_what_waits_can_be_stopped(runner):
    first, second, third = Steps(1), Steps(1), Steps(1)
    runner.start("first", first, what="the first", place="/one")
    assert first.begun[0].wait(LONG)
    runner.start("second", second)
    runner.start("third", third)
    assert [one.state for one in runner.going_on()] == ["running", "waiting", "waiting"]
    assert runner.going_on()[0].what == "the first"
    runner.stop("second")
    third.finish()
    first.finish()
    runner.wait("third", LONG)

    assert (first.done, second.done, third.done) == ([0], [], [0])
    assert runner.standing("second").state == "stopped"


def test_stopped_and_wanted_after_all_goes_on(runner, steps):
    runner.start("key", steps)
    assert steps.begun[0].wait(LONG)
    runner.stop("key")
    runner.start("key", steps)
    steps.finish()
    runner.wait("key", LONG)

    assert runner.result("key") == "all of it"


def test_results_asked_for_longest_ago_are_dropped(runner):
    for number in range(4):
        runner.start(str(number), lambda _heard, _stop, number=number: number)
        runner.wait(str(number), LONG)
        assert runner.result("0") == 0 or number > 2

    assert runner.standing("1").state == "unknown"
    with pytest.raises(LookupError):
        runner.result("1")
    assert [runner.result(str(number)) for number in (0, 2, 3)] == [0, 2, 3]


def test_names_in_forms_tell_nothing_of_the_key():
    assert name_of("a/b c") == name_of("a/b c") != name_of("a/b d")
    assert set(name_of("x")) <= set("0123456789abcdef")


def test_time_left_runs_down_and_is_not_promised_once_it_is_over(steps):
    now = [100.0]
    runner = Runner(ticks=lambda: now[0])
    steps.go[0].set()
    runner.start("a", steps)
    assert steps.begun[1].wait(LONG)

    now[0] += 90.0
    assert runner.standing("a").progress.left_s == 70.0
    now[0] += 80.0
    assert (runner.standing("a").progress.left_s, runner.standing("a").late) == (0.0, False)
    now[0] += 20.0
    late = runner.standing("a")
    assert (late.progress.left_s, late.late) == (None, True)
    page = working_page(late, "Work", "", name="a", place="/", ahead="")
    assert page.told[1] == "It takes longer than was thought; how long is not known."
    steps.finish()
