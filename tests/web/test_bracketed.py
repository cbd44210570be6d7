"""The finder of hard-wired English finds it, and nothing else."""

from __future__ import annotations

import pytest

from fruitwall import speech
from fruitwall.speech import say, say_count, say_list, speaking
from tests.web.bracketed import bracketing, in_brackets, unbracketed, words_left

SAID = in_brackets("covered")


def test_places_of_a_template_stand_outside_its_brackets(monkeypatch: pytest.MonkeyPatch):
    with bracketing(monkeypatch), speaking("es"):
        assert say_list(["a", "b"]) == "a⟦ and ⟧b"
        assert say("in {time}", time="3") == "⟦in ⟧3"
        one, many = "{count}\N{NO-BREAK SPACE}day", "{count}\N{NO-BREAK SPACE}days"
        assert [say_count(one, many, 1), say_count(one, many, 2)] == ["1⟦\xa0day⟧", "2⟦\xa0days⟧"]
        assert say("no such message") == "no such message"
    with speaking("es"):
        assert say_list(["a", "b"]) == "a y b"
    assert speech.language() == "en"


@pytest.mark.parametrize(
    ("html", "left"),
    [
        (f"<p>{SAID}</p>", []),
        ("<p>covered</p>", ["p: covered"]),
        (f"<p>{SAID} tonight</p>", ["p: · tonight"]),
        (f'<p title="covered">{SAID}</p>', ["p[title]: covered"]),
        ('<svg role="img" aria-label="the yard"></svg>', ["svg[aria-label]: the yard"]),
        ('<p data-words="{&quot;a&quot;: &quot;kept&quot;}"></p>', ["p[data-words]: kept"]),
        ("<div hidden><p>kept</p></div>", ["div>p: kept"]),
        ("<p>Old Mango, 12,5 ft, 7 min, 3 kWh, 80 USD, A, 16:40</p>", []),
        ("<p>Old Mangoes</p>", ["p: Old Mangoes"]),
        ("<p>martes 22 de diciembre de 2026; mié 23 dic</p>", []),
        ("<p>Tue 22 Dec</p>", ["p: Tue 22 Dec"]),
        ('<p lang="en">a book</p><p translate="no">kept</p><p><code>fruitwall tonight</code></p>', []),
        ("<script>let words</script><style>p {color: red}</style>", []),
    ],
)
def test_what_is_not_said_is_found(html: str, left: list[str]):
    found = unbracketed(f'<html lang="es"><body>{html}</body></html>', typed=["old mango", "A"])
    assert [line.removeprefix("html>").removeprefix("body>") for line in found] == left


def test_plain_text_is_looked_at_in_the_same_way():
    assert words_left(f"{SAID}: 3 to 4") == "· : 3 to 4"
    assert words_left(f"{SAID}: 3 a 4") == ""
