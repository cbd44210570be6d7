"""How the evening plan looks in a terminal.

Takes the document that `service` gives and the household's units; decides nothing. Colour only repeats what a word
beside it says, so that the plan reads the same on paper, in a pipe and to colour-blind eyes.
"""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterable, Sequence
from io import StringIO

from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from fruitwall.plants.tolerance import GRADES
from fruitwall.service.evening_document import EveningPlan, Spread, Task, TreePlan
from fruitwall.service.explained import cold_rows, cold_title
from fruitwall.service.household import Household, bare_percent, long_day, minutes, percent, short_day
from fruitwall.service.station import StationNight
from fruitwall.service.words import OCCASIONS

VERDICT_STYLES = {"safe": "green", "watch": "yellow", "danger": "bold red", "deadly": "bold white on red"}
"""Colours of the four verdicts; the word itself always stands beside them."""

WORTH_SAYING = 0.5
"""What one more of a thing must save to be told, in the household's currency; the page keeps to the same."""

WIDE = 100
"""Columns from which the table of trees has its full form."""

LEGEND = (
    "\nLeft alone → with the plan. Coldest: coldest hour of the tissue most in danger; margin: above (+) or below "
    "(\N{MINUS SIGN}) where its harm begins; harm: chance of burnt leaf or worse; death: chance of losing the tree."
)


def columns() -> int:
    """Give the columns to fold to: the terminal's, in a pipe COLUMNS or 100."""
    if sys.stdout.isatty():
        return shutil.get_terminal_size().columns
    given = os.environ.get("COLUMNS", "")
    return max(40, int(given)) if given.isdigit() else 100


def show(part: RenderableType) -> None:
    """Print for eyes; in a pipe without colour and without spaces at the ends of lines."""
    if sys.stdout.isatty():
        Console(highlight=False, emoji=False).print(part)
        return
    told = StringIO()
    Console(file=told, width=columns(), highlight=False, emoji=False).print(part)
    sys.stdout.write("\n".join(line.rstrip() for line in told.getvalue().splitlines()) + "\n")


def evening(plan: EveningPlan, household: Household, *, width: int = WIDE) -> RenderableType:
    """Lay out the whole plan: verdict, trees, checklist, limits, what stays at risk, cautions."""
    parts: list[RenderableType] = [_head(plan, household), _trees(plan, household, wide=width >= WIDE)]
    parts.append(Text(LEGEND, style="dim"))
    parts += _done(plan, household)
    by = "Still tonight" if plan.made >= plan.sunset else "This evening"
    parts += _checklist(f"{by}, in walking order", plan.tasks, plan.cautions, household)
    parts += _checklist("Tomorrow morning", plan.morning, plan.cautions, household)
    parts += _at_risk(plan)
    parts += _limits(plan)
    parts += _cautions(plan.cautions)
    parts.append(_foot(plan, household))
    return Group(*parts)


def _head(plan: EveningPlan, household: Household) -> RenderableType:
    """Give verdict and forecast."""
    forecast = plan.forecast
    night = Text(f"{plan.yard}, night of {long_day(plan.night)}", style="bold")
    verdict = Text(plan.verdict, style="bold red" if plan.needs_action else "bold green")
    weather = Text(
        f"Forecast minimum {_spread(forecast.station_minimum_c, household)} at the station, "
        f"dew point {household.temperature(forecast.dew_point_c.p50)}, "
        f"wind {household.wind(forecast.wind_m_s.p50)}, cloud {percent(forecast.cloud.p50)}. "
        f"Sunset {household.clock(plan.sunset)}, sunrise {household.clock(plan.sunrise)}."
    )
    following = ""
    if forecast.following_minima_c:
        minima = ", ".join(household.temperature(s.p50) for s in forecast.following_minima_c)
        following = f" Minima of the nights after: {minima}."
    source = Text(f"{forecast.source}, {forecast.members} members.{following}", style="dim")
    warnings = [Text(f"Note: {w}", style="yellow") for w in forecast.warnings]
    return Padding(Group(night, verdict, Text(""), weather, source, *warnings), (1, 0, 1, 0))


def _spread(spread: Spread, household: Household) -> str:
    """Write median and range: "28 °F (25 to 31 °F)"."""
    return f"{household.temperature(spread.p50)} ({household.temperatures(spread.p10, spread.p90)})"


def _arrow(nothing: str, chosen: str, *, same: bool) -> str:
    """Write a value without and with the plan; once if nothing is done."""
    return nothing if same else f"{nothing} → {chosen}"


def _trees(plan: EveningPlan, household: Household, *, wide: bool) -> RenderableType:
    """Give one row per tree, the most endangered first; in a narrow terminal what it gets stands below its name."""
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    table.add_column("tree", overflow="fold", max_width=26 if wide else 36)
    if wide:
        table.add_column("tonight", overflow="fold", max_width=34)
    for head in (f"coldest {household.degree}", f"margin {household.step}", "harm %", "death %"):
        table.add_column(head, justify="right", no_wrap=True)
    if wide:
        table.add_column("verdict", no_wrap=True)
    for tree in plan.trees:
        name, measure, *numbers, verdict = _tree_row(tree, household)
        if wide:
            table.add_row(name, measure, *numbers, verdict)
        else:
            below = Text.assemble("  ", measure, ": ", verdict)
            table.add_row(Group(name, below), *numbers)
    return table


def _tree_row(tree: TreePlan, household: Household) -> tuple[Text, Text, str, str, str, str, Text]:
    """Give the cells of one tree."""
    same = tree.measure == "leave"
    harm = _arrow(bare_percent(tree.chance_of_harm["nothing"]), bare_percent(tree.chance_of_harm["chosen"]), same=same)
    death = _arrow(
        bare_percent(tree.chance_of_death["nothing"]), bare_percent(tree.chance_of_death["chosen"]), same=same
    )
    verdict = Text(tree.verdict, style=VERDICT_STYLES[tree.verdict])
    if not same and tree.verdict_with_plan != tree.verdict:
        verdict.append(" → ", style="not bold default on default")
        verdict.append(tree.verdict_with_plan, style=VERDICT_STYLES[tree.verdict_with_plan])
    if _only_fruit(tree):
        verdict.append(" (fruit)", style="not bold default on default")
    coldest = _arrow(
        household.bare_temperature(tree.tissue_min_c["nothing"].p50),
        household.bare_temperature(tree.tissue_min_c["chosen"].p50),
        same=same,
    )
    if tree.tissue != "leaf":
        coldest = f"{tree.tissue} {coldest}"
    margin = _arrow(
        household.bare_difference(tree.margin_k["nothing"]),
        household.bare_difference(tree.margin_k["chosen"]),
        same=same,
    )
    return (
        Text(tree.name),
        Text(tree.measure_name, style="dim" if same else "bold"),
        coldest,
        margin,
        harm,
        death,
        verdict,
    )


def _only_fruit(tree: TreePlan) -> bool:
    """Tell whether a tree's verdict is due to its fruit and not to the tree."""
    harm, fruit = tree.chance_of_harm["nothing"], tree.fruit_lost["nothing"]
    return tree.verdict != "deadly" and ((fruit >= 0.30 > harm) or (fruit >= 0.10 and harm < 0.05))


def _done(plan: EveningPlan, household: Household) -> list[RenderableType]:
    """Give what was done already when the plan was made."""
    if not plan.done:
        return []
    lines = [Padding(Text(f"[x] {task.what} ({household.clock(task.at)})"), (0, 0, 0, 2)) for task in plan.done]
    return [Text("\nDone already, it stays and counts", style="bold"), *lines]


def _checklist(
    title: str, tasks: Iterable[Task], cautions: Sequence[str], household: Household
) -> list[RenderableType]:
    """Give the tasks with deadline, person and steps, and the numbers of the cautions that belong to each."""
    tasks = list(tasks)
    if not tasks:
        return []
    lines: list[RenderableType] = [Text(f"\n{title}", style="bold")]
    group = ""
    for task in tasks:
        if task.when != group:
            group = task.when
            by = household.clock(max(t.deadline for t in tasks if t.when == group))
            lines.append(Text(OCCASIONS[group] if group == "when_mild" else f"{OCCASIONS[group]}, by {by}"))
        who = f"{task.person}, " if task.person else ""
        if task.not_before is not None:
            who += f"from {household.moment(task.not_before)}, "
        lines.append(
            Padding(
                Text.assemble(f"[ ] {task.order:2d}  ", (task.what, "bold"), f"  ({who}{minutes(task.minutes)})"),
                (0, 0, 0, 2),
            )
        )
        lines += [Padding(Text(step, style="dim"), (0, 0, 0, 10)) for step in task.steps]
        lines += [Padding(Text(c, style="yellow"), (0, 0, 0, 10)) for c in task.cautions if c not in cautions]
        numbers = sorted(cautions.index(c) + 1 for c in task.cautions if c in cautions)
        if numbers:
            heed = f"Heed {'caution' if len(numbers) == 1 else 'cautions'} {', '.join(map(str, numbers))} below."
            lines.append(Padding(Text(heed, style="yellow"), (0, 0, 0, 10)))
    return lines


def _at_risk(plan: EveningPlan) -> list[RenderableType]:
    """Give what stays in danger although the plan is followed."""
    if not plan.at_risk:
        return []
    lines: list[RenderableType] = [Text("\nStays at risk with this plan", style="bold")]
    for tree in plan.at_risk:
        death = f", death {percent(tree.chance_of_death)}" if tree.chance_of_death >= 0.01 else ""
        lines.append(
            Padding(Text(f"{tree.name}: harm {percent(tree.chance_of_harm)}{death}. {tree.why}"), (0, 0, 0, 2))
        )
    return lines


def _limits(plan: EveningPlan) -> list[RenderableType]:
    """Give what is scarce and what one more would buy."""
    scarce = [
        limit for limit in plan.limits if limit.one_more_saves is not None and limit.one_more_saves >= WORTH_SAYING
    ]
    scarce.sort(key=lambda limit: -(limit.one_more_saves or 0.0))
    if not scarce:
        return []
    lines: list[RenderableType] = [
        Text.assemble(("\nWhat holds the plan back", "bold"), (" (planned anew with one more of each)", "dim"))
    ]
    for limit in scarce:
        used = f"{limit.used:.0f} of {limit.available:.0f} {limit.unit} used"
        lines.append(Padding(Text(f"{limit.name}: {used}. {limit.one_more or ''}".rstrip()), (0, 0, 0, 2)))
    return lines


def _cautions(cautions: Iterable[str]) -> list[RenderableType]:
    """Give the cautions that apply tonight."""
    texts = list(cautions)
    if not texts:
        return []
    table = Table(box=None, pad_edge=False, show_header=False, padding=(0, 1, 0, 0))
    table.add_column(justify="right")
    table.add_column(overflow="fold")
    for number, text in enumerate(texts, start=1):
        table.add_row(f"{number}.", text)
    return [Text("\nCautions", style="bold"), Padding(table, (0, 0, 0, 1))]


def _foot(plan: EveningPlan, household: Household) -> RenderableType:
    """Give what the plan costs and how it was found."""
    loss = plan.expected_loss
    found = "proven best" if plan.solver.status == "optimal" else f"within {plan.solver.gap:.1%} of the best"
    worn = f", {plan.wear:.2f} {plan.currency} of wear on gear" if plan.wear >= 0.005 else ""
    notes = "".join(f" {note[0].upper()}{note[1:]}." for note in plan.solver.notes)
    return Text(
        f"\nExpected loss {loss['nothing']:.0f} {plan.currency} if nothing is done, {loss['plan']:.0f} with the plan. "
        f"The plan takes {minutes(plan.minutes)} of work, {plan.lifts} lifts, {plan.kwh:.1f} kWh{worn}; {found} over "
        f"{plan.solver.nights} nights ({plan.solver.seconds:.1f} s). "
        f"Made {household.moment(plan.made)}.{notes}",
        style="dim",
    )


def comparison(plan: EveningPlan) -> RenderableType:
    """Lay out the plan beside doing nothing, the same as last time, and everything possible."""
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    table.add_column("tonight", overflow="fold")
    for head in (f"loss {plan.currency}", "lose a tree %", "trees", "minutes", "lifts", "kWh"):
        table.add_column(head, justify="right", no_wrap=True)
    for way in plan.compare:
        table.add_row(
            Text(way.name, style="bold" if way.key == "plan" else ""),
            f"{way.expected_loss:.0f}",
            bare_percent(way.chance_of_losing_a_tree),
            str(len(way.measures)),
            f"{way.minutes:.0f}",
            str(way.lifts),
            f"{way.kwh:.1f}",
        )
    notes = [Text(f"{way.name[0].upper()}{way.name[1:]}: {way.note}.", style="dim") for way in plan.compare if way.note]
    legend = Text(
        "Loss: expected, of all trees; lose a tree: chance that at least one dies; trees: how many get something.",
        style="dim",
    )
    title = Text(f"\n{plan.yard}, night of {long_day(plan.night)}: what else could be done", style="bold")
    return Group(title, Text(plan.verdict), Text(""), table, Text(""), legend, *notes)


def explanation(plan: EveningPlan, tree: TreePlan, household: Household) -> RenderableType:
    """Lay out the whole chain for one tree: from the station's air to the risk."""
    table = Table(box=None, pad_edge=False, show_header=False, padding=(0, 2, 0, 0))
    table.add_column(style="bold", max_width=34)
    table.add_column(justify="right")
    table.add_column(style="dim", overflow="fold")
    for part in tree.chain:
        table.add_row(part.label, part.value, part.note)
    grades = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    for head in ("grade", "if nothing", "with the plan"):
        grades.add_column(head, justify="left" if head == "grade" else "right")
    for grade, name in enumerate(GRADES):
        grades.add_row(f"{grade} {name}", percent(tree.injury.nothing[grade]), percent(tree.injury.chosen[grade]))
    kind = f"{tree.taxon} {tree.cultivar}" if tree.cultivar else tree.taxon
    lines: list[RenderableType] = [
        Text(f"\n{tree.name} ({kind}), night of {long_day(plan.night)}", style="bold"),
        Text(tree.reason),
        *([Text(f"Next best: {tree.runner_up}")] if tree.runner_up else []),
        Text(""),
        *_cold(tree, household),
        table,
        Text(""),
        grades,
    ]
    if tree.following_nights:
        lines.append(Text("\nNights after: " + "; ".join(tree.following_nights)))
    return Group(*lines)


def _cold(tree: TreePlan, household: Household) -> list[RenderableType]:
    """Give the sum that leads from the station's air to the tissue; nothing if it is not known."""
    if tree.cold is None:
        return []
    table = Table(box=None, pad_edge=False, header_style="dim", padding=(0, 2, 0, 0))
    table.add_column(max_width=34)
    for head in ("adds", "makes", "in 4 of 5"):
        table.add_column(head, justify="right", no_wrap=True)
    table.add_column(style="dim", overflow="fold")
    for row in cold_rows(tree.cold, household):
        table.add_row(
            Text(f"= {row.label}" if row.kind == "total" else row.label, style="" if row.kind == "part" else "bold"),
            row.change,
            Text(row.value, style="dim" if row.kind == "part" else "bold"),
            Text(row.span, style="dim"),
            row.note,
        )
    return [Text(cold_title(tree.cold, household), style="bold"), table, Text("")]


def nights_table(
    nights: Sequence[StationNight], source: str, warnings: Iterable[str], household: Household
) -> RenderableType:
    """Lay out a forecast's coming nights at the station, one row each."""
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    for head in ("night of", f"minimum {household.degree}", "at", "dew point", "wind", "cloud"):
        table.add_column(head, justify="left" if head == "night of" else "right")
    for night in nights:
        low = night.minimum_c
        shown = household.bare_temperature(low.p50)
        if household.bare_temperature(low.p10) != household.bare_temperature(low.p90):
            shown += f" ({household.bare_temperature(low.p10)} to {household.bare_temperature(low.p90)})"
        table.add_row(
            short_day(night.evening),
            shown,
            household.clock(night.coldest_at),
            household.temperature(night.dew_point_c.p50),
            household.wind(night.wind_m_s.p50),
            percent(night.cloud.p50),
        )
    notes = [Text(f"Note: {w}", style="yellow") for w in warnings]
    return Group(Text(source, style="dim"), *notes, Text(""), table)
