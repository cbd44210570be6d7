"""The helper's sheet laid out: its words and the drawing of the yard with the places in walking order."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from pathlib import Path
from zoneinfo import ZoneInfo

from jinja2 import Environment
from markupsafe import Markup

from fruitwall.service.evening_document import EveningPlan
from fruitwall.service.household import Household
from fruitwall.service.sheet import Sheet, sheet_of
from fruitwall.speech import language, say
from fruitwall.web.evening.drawing import Drawing, Sign, draw_yard
from fruitwall.web.evening.marks import LEAVE, outline
from fruitwall.web.evening.spacing import Spot
from fruitwall.web.svg import tag
from fruitwall.yard.model import Yard

STYLES = ("base.css", "evening/drawing.css", "sheet/sheet.css")
"""Style sheets of the file, in their order, below the folder of the pages."""

RADIUS = 10.5


@dataclass(frozen=True)
class SheetPage:
    """What the template shows."""

    sheet: Sheet
    drawing: Drawing
    evening_url: str
    calendar_url: str


def sheet_page(plan: EveningPlan, yard: Yard) -> SheetPage:
    """Lay out the sheet of one plan.

    Parameters
    ----------
    plan : EveningPlan
    yard : Yard

    Returns
    -------
    SheetPage
    """
    sheet = sheet_of(plan, yard)
    household = Household(yard.display, ZoneInfo(plan.time_zone))
    where = {tree.id: tree.position for tree in plan.trees}
    signs = [
        Sign(where[tree], partial(_place, number))
        for number, trees in sheet.places.items()
        for tree in trees
        if tree in where
    ]
    summary = say(
        "{yard} from above, north at the top, with the places of this sheet numbered as they are walked.",
        yard=plan.yard,
    )
    return SheetPage(
        sheet=sheet,
        drawing=draw_yard(plan, yard, household, signs, summary, role="img"),
        evening_url=f"/night/{plan.night}",
        calendar_url=f"/evening/calendar.ics?night={plan.night}",
    )


def sheet_file(plan: EveningPlan, yard: Yard, templates: Environment, folder: Path) -> str:
    """Write the sheet as one HTML text that needs nothing else.

    Parameters
    ----------
    plan : EveningPlan
    yard : Yard
    templates : Environment
        Of the pages.
    folder : Path
        Where templates and style sheets lie.

    Returns
    -------
    str
    """
    styles = "\n".join((folder / name).read_text("utf-8") for name in STYLES)
    return templates.get_template("sheet/file.html").render(
        page=sheet_page(plan, yard), styles=Markup(styles), language=language()
    )


def _place(number: int, spot: Spot) -> Markup:
    """Draw the number of a place."""
    x, y = spot
    return tag(
        "g",
        outline(LEAVE, x, y, RADIUS, class_="mark place"),
        tag("text", str(number), class_="mark-number place", x=x, y=y, dy="0.36em"),
    )
