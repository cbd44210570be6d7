"""The report of a season as HTML: what stands on the page, and a file that needs nothing beside it."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Callable
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from markupsafe import Markup

from fruitwall.reports.drawing import cold_picture, count_picture
from fruitwall.speech import say, say_count

if TYPE_CHECKING:
    from jinja2 import Environment

    from fruitwall.service.household import Household
    from fruitwall.service.season_report import SeasonReport, YardNight

FILE_STYLE = """\
:root {
  --paper: #f7f4ed; --rule: #cfc7b6; --edge: #80786a; --ink: #221e19; --quiet: #5c554a; --ember: #7c480a;
  --near: #a96f16; --beyond: #2762a8;
  --small: 0.8333rem; --hair: 0.25rem; --gap: 0.5rem; --step: 1rem; --field: 3rem;
}
* { box-sizing: border-box; }
html { font: 100%/1.5 system-ui, sans-serif; color: var(--ink); background: var(--paper); }
body { margin: 0 auto; padding: 1rem; max-width: 62rem; overflow-wrap: anywhere; }
h1, h2, h3, p, ul, dl, dd, figure { margin: 0; padding: 0; }
h1, h2 { font-family: Georgia, serif; line-height: 1.25; }
h1 { font-size: 1.44rem; } h2 { font-size: 1.2rem; } h3 { font-size: 1rem; }
.quiet { color: var(--quiet); font-size: var(--small); }
@media print { html { background: none; } body { padding: 0; max-width: none; } }
"""
"""What the file needs of the pages' own style: the day's colours of docs/design.md, and plain elements."""

PhotoOf = Callable[[str], str | None]
"""Gives the address of a photo by its digest; None where it is gone."""


def body(report: SeasonReport, household: Household, photo_of: PhotoOf) -> Markup:
    """Write what the report tells.

    Parameters
    ----------
    report : SeasonReport
    household : Household
        Of who reads.
    photo_of : callable

    Returns
    -------
    Markup
        Looks come from ``season-report.css``.
    """
    trees = []
    for tree in report.trees:
        drawn = Markup(cold_picture(tree.nights, tree.begins_c, household)) if tree.nights else None
        photos = [url for photo in tree.photos if (url := photo_of(photo)) is not None]
        trees.append((tree, drawn, photos))
    text = (
        _templates()
        .get_template("season-body.html")
        .render(
            report=report,
            trees=trees,
            yard_picture=Markup(cold_picture(report.nights, None, household, height=120.0)) if report.nights else None,
            count_picture=Markup(count_picture(report.nights)) if report.nights else None,
            picture_told=picture_told(report, household),
            count_told=count_told(report),
            degree=household.degree,
        )
    )
    return Markup(text)


def as_file(report: SeasonReport, household: Household, photo: Callable[[str], bytes | None]) -> str:
    """Write the report as one HTML file.

    Parameters
    ----------
    report : SeasonReport
    household : Household
        Of who reads.
    photo : callable
        Gives the bytes of a small photo (JPEG) by its digest; None where it is gone.

    Returns
    -------
    str
        With its pictures and its style in it; it asks nothing of any network.
    """

    def photo_of(digest: str) -> str | None:
        content = photo(digest)
        return None if content is None else f"data:image/jpeg;base64,{b64encode(content).decode()}"

    style = FILE_STYLE + files("fruitwall.reports").joinpath("season-report.css").read_text("utf-8")
    written: str = (
        _templates()
        .get_template("season-file.html")
        .render(report=report, style=Markup(style), body=body(report, household, photo_of))
    )
    return written


def picture_told(report: SeasonReport, household: Household) -> str:
    """Tell the picture of the yard in words."""
    nights = report.nights
    if not nights:
        return ""
    coldest = min(nights, key=lambda one: one.done_c)
    return say(
        "Solid: as kept, lowest {done}. Dashed: left alone, lowest {alone}. The thin line is freezing.",
        done=household.temperature(coldest.done_c),
        alone=household.temperature(min(one.alone_c for one in nights)),
    )


def count_told(report: SeasonReport) -> str:
    """Tell the picture of the counts in words."""
    nights: tuple[YardNight, ...] = report.nights
    kept, alone = (sum(one.below > 0 for one in nights), sum(one.below_alone > 0 for one in nights))
    return say(
        "Filled: as kept, in {kept}. Outlined: left alone, in {alone}.",
        kept=say_count("{count} night", "{count} nights", kept),
        alone=say_count("{count} night", "{count} nights", alone),
    )


@cache
def _templates() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    made = Environment(
        loader=PackageLoader("fruitwall.reports", "."),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals |= {"_": say, "n_": say_count}
    return made
