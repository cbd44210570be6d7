"""The report of a season as PDF, typeset by Typst, which the extra ``report`` brings."""

from __future__ import annotations

import json
import unicodedata
from importlib import import_module
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from fruitwall.errors import FruitwallError
from fruitwall.reports.drawing import cold_picture, count_picture
from fruitwall.reports.season_html import count_told, picture_told
from fruitwall.speech import say

if TYPE_CHECKING:
    from fruitwall.service.household import Household
    from fruitwall.service.season_report import SeasonReport

PICTURE_STYLE = (
    ".rep-axis{stroke:#cfc7b6;stroke-width:0.5}"
    ".rep-figure{fill:#5c554a;font-size:9px;font-family:'Libertinus Serif'}"
    ".rep-zero{stroke:#80786a;stroke-width:0.8}"
    ".rep-begins{stroke:#a96f16;stroke-width:1.5;stroke-dasharray:1.5 2.5}"
    ".rep-alone{fill:none;stroke:#7c480a;stroke-width:1.2;stroke-dasharray:4 2}"
    ".rep-done{fill:none;stroke:#2762a8;stroke-width:1.5}"
    ".rep-bar-alone{fill:none;stroke:#7c480a;stroke-width:0.8}"
    ".rep-bar{fill:#2762a8}"
)
"""Looks of the pictures on paper: those of ``season-report.css`` with the day's colours."""


WIDTH, HEIGHT = 220.0, 70.0
"""Of the picture of a tree in three columns, so that its figures are about as large as the text."""


def as_pdf(report: SeasonReport, household: Household) -> bytes:
    """Typeset the report.

    Parameters
    ----------
    report : SeasonReport
    household : Household
        Of who reads: whoever reads feet gets US letter, else A4.

    Returns
    -------
    bytes
        PDF/UA-1: tagged, titled, with words for each picture; tagged without that promise where a name has letters
        that no font of this machine has. Photos are left to the HTML file.

    Raises
    ------
    FruitwallError
        Without Typst, or where it cannot typeset it.
    """
    typst = check_typst()
    source = files("fruitwall.reports").joinpath("season.typ").read_bytes()
    data = json.dumps(_without_controls(_data(report, household)), ensure_ascii=False)
    # The packaged font gives the same pages everywhere. The standard refuses letters that it lacks, such as those of a
    # Chinese name: fonts of the machine may have them, and a page with an empty box is better than none.
    for own_only, standards in ((True, ["ua-1"]), (False, ["ua-1"]), (False, [])):
        try:
            written: bytes = typst.compile(
                source,
                format="pdf",
                ignore_system_fonts=own_only,
                sys_inputs={"data": data},
                pdf_standards=standards,
            )
        except typst.TypstError as error:
            reason = str(error)
        else:
            return written
    raise FruitwallError(
        say(
            "The PDF could not be typeset ({reason}). The HTML file tells the same, and a browser prints it.",
            reason=reason,
        )
    )


def _without_controls(value: Any) -> Any:
    """Put spaces in place of control characters and halves of surrogates: no font has them."""
    if isinstance(value, str):
        return "".join(" " if unicodedata.category(letter) in ("Cc", "Cs") else letter for letter in value)
    if isinstance(value, list):
        return [_without_controls(one) for one in value]
    if isinstance(value, dict):
        return {name: _without_controls(one) for name, one in value.items()}
    return value


def check_typst() -> Any:
    """Give Typst.

    Raises
    ------
    FruitwallError
        Where it is not installed, saying how to.
    """
    try:
        return import_module("typst")
    except ModuleNotFoundError as error:
        raise FruitwallError(
            say(
                "A PDF needs {missing}, which is not installed: pip install 'fruitwall[report]'. The HTML file needs "
                "nothing more, and a browser prints it.",
                missing=str(error.name),
            )
        ) from error


def _data(report: SeasonReport, household: Household) -> dict[str, object]:
    def styled(svg: str) -> str:
        head, end, rest = svg.partition(">")
        return f"{head}{end}<style>{PICTURE_STYLE}</style>{rest}"

    pictures = []
    if report.nights:
        pictures = [
            {
                "title": say("Lowest hour of each night, of the coldest tree ({unit})", unit=household.degree),
                "svg": styled(cold_picture(report.nights, None, household, height=120.0)),
                "told": picture_told(report, household),
                "alt": picture_told(report, household),
            },
            {
                "title": say("Trees below where harm begins, night by night"),
                "svg": styled(count_picture(report.nights)),
                "told": count_told(report),
                "alt": count_told(report),
            },
        ]
    return {
        "title": report.title,
        "subtitle": report.subtitle,
        "made": report.made,
        "language": report.language,
        "paper": "us-letter" if household.display.length == "ft" else "a4",
        "words": {
            "winter": say("The winter in pictures"),
            "learned": say("What was learned"),
            "trees": say("Tree by tree"),
            "legend": say(
                "In the pictures: solid, as kept; dashed, left alone; dotted, where harm begins; the thin line is "
                "freezing. Temperatures in {unit}.",
                unit=household.degree,
            ),
            "done": say("What was done"),
            "looks": say("How it looked"),
            "notes": say("Notes"),
            "assumed": say("What is assumed or in doubt"),
        },
        "parts": [{"title": title, "verdict": verdict} for title, verdict in report.parts],
        "pictures": pictures,
        "learned": [{"title": one.title, "lines": list(one.lines), "change": one.change} for one in report.learned],
        "trees": [
            {
                "name": tree.name,
                "kind": tree.kind,
                "svg": styled(cold_picture(tree.nights, tree.begins_c, household, width=WIDTH, height=HEIGHT))
                if tree.nights
                else "",
                "alt": say("Lowest hour of each night of {tree}. {told}", tree=tree.name, told=" ".join(tree.told)),
                "told": list(tree.told),
                "done": list(tree.done),
                "looks": list(tree.looks),
                "learned": list(tree.learned),
                "notes": list(tree.notes),
            }
            for tree in report.trees
        ],
        "notes": list(report.notes),
    }
