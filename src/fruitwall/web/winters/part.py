"""What the pages of the parts share: one part of many winters, or the page that stands in for it meanwhile."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from fruitwall.web.winters.runner import Heard, Runner, Stop, await_work

if TYPE_CHECKING:
    from fastapi import Request

    from fruitwall.service.house import House
    from fruitwall.service.winters_document import PartKey
    from fruitwall.service.winters_weather import WeatherChoice
    from fruitwall.web.pages import Pages

NONE = "winters/winters-none.html"
"""Says that no whole winter is known, and how to get some."""


def await_part(
    pages: Pages,
    request: Request,
    runner: Runner,
    house: House,
    part: PartKey,
    choice: WeatherChoice,
    *,
    mark: str | None,
    what: str,
    takes: str,
    do: Callable[[Heard, Stop], Any] | None = None,
) -> Any:
    """Give the document of a part, or the page to show instead.

    Parameters
    ----------
    pages : Pages
        Renders templates.
    request : Request
    runner : Runner
        The application's one.
    house : House
    part : str
    choice : WeatherChoice
        Which winters.
    mark : str or None
        Key of the work by content; None where no whole winter is known.
    what : str
        Heading of the page that waits, `speech.marked`.
    takes : str
        How long it takes, in the reader's language.
    do : callable (heard, stop) -> document, optional
        What is worked out; the document that the overview tells of if left out.

    Returns
    -------
    document or Response
        A Response while it is worked out, and where no whole winter is known.
    """
    from fruitwall.service.winters import part_document

    if mark is None:
        return pages.render(request, NONE)

    def whole(heard: Heard, stop: Stop) -> Any:
        return part_document(house, part, choice, heard=heard, stop=stop)

    found = await_work(pages, request, runner, mark, do or whole, what, takes=takes)
    return pages.render(request, NONE) if found is None else found
