"""What fruitwall knows: the kinds of plants, and the schemas of its documents."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from fruitwall.cli.app import DatabaseOption, YardOption, app
from fruitwall.cli.given import find_yard, journal_if_needed, refuse


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

    of_yard = None
    if yard is not None:
        with journal_if_needed(yard, database) as journal:
            of_yard = find_yard(yard, journal)[0].yard
    typer.echo(kind_answer(" ".join(name or []), of_yard, unit, as_json=as_json, width=columns()))


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
        refuse(f'no schema named "{what}"; there are: yard, evening-plan')
    typer.echo(json.dumps(found, indent=2, ensure_ascii=False))
