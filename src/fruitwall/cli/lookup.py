"""What fruitwall knows: the kinds of plants, and the schemas of its documents."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from fruitwall.cli.app import DatabaseOption, YardOption, app
from fruitwall.cli.given import find_yard, journal_if_needed, refuse
from fruitwall.speech import say

if TYPE_CHECKING:
    from fruitwall.yard.model import Yard


@app.command("kind")
def show_kind(
    name: Annotated[list[str] | None, typer.Argument(metavar="[NAME]", help="Any name of it; none lists all.")] = None,
    yard: YardOption = None,
    unit: Annotated[str | None, typer.Option("--unit", metavar="C|F", help="Degrees to read in.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print it as a document, in °C.")] = False,
    database: DatabaseOption = None,
) -> None:
    """Show what is published on a kind of plant, and what was made of it.

    With --yard also the kinds that the yard file describes, in the yard's units.
    """
    from fruitwall.terminal import columns
    from fruitwall.terminal_kind import kind_answer

    of_yard = _yard_of(yard, database)
    typer.echo(kind_answer(" ".join(name or []), of_yard, unit, as_json=as_json, width=columns()))


@app.command("gear")
def show_gear(
    yard: YardOption = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print it as a document, in SI units.")] = False,
    database: DatabaseOption = None,
) -> None:
    """Show what is published on containers and covers, with sources.

    With --yard in the yard's units.
    """
    from fruitwall.terminal import columns
    from fruitwall.terminal_kind import gear_answer

    typer.echo(gear_answer(_yard_of(yard, database), as_json=as_json, width=columns()))


def _yard_of(named: str | None, database: str | None) -> Yard | None:
    """Give the yard that was named, if one was."""
    if named is None:
        return None
    with journal_if_needed(named, database) as journal:
        return find_yard(named, journal)[0].yard


@app.command()
def schema(
    what: Annotated[str, typer.Argument(metavar="yard|evening-plan", help="Which schema to print.")],
) -> None:
    """Print the JSON Schema of the yard file or of the evening plan."""
    import json

    if what == "yard":
        from fruitwall.yard.schema import yard_json_schema

        found: dict[str, Any] = yard_json_schema()
    elif what == "evening-plan":
        from fruitwall.service.evening_document import evening_plan_json_schema

        found = evening_plan_json_schema()
    else:
        refuse(say('no schema named "{what}"; there are: yard, evening-plan', what=what))
    typer.echo(json.dumps(found, indent=2, ensure_ascii=False))
