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
from fruitwall.service.household import Household, bare_percent, decimal, long_day, minutes, percent, short_day
from fruitwall.service.station import StationNight
from fruitwall.service.words import OCCASIONS, VERDICT_NAMES
from fruitwall.speech import capital, marked, say, say_again, say_count

VERDICT_STYLES = {"safe": "green", "watch": "yellow", "danger": "bold red", "deadly": "bold white on red"}
"""Colours of the four verdicts; the word itself always stands beside them."""

TISSUE_NAMES = {
    "leaf": marked("leaf"),
    "twig": marked("twig"),
    "wood": marked("wood"),
    "fruit": marked("fruit"),
    "root": marked("root"),
}

WORTH_SAYING = 0.5
"""What one more of a thing must save to be told, in the household's currency; the page keeps to the same."""

WIDE = 100
"""Columns from which the table of trees has its full form."""


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
    legend = say(
        "Left alone → with the plan. Coldest: coldest hour of the tissue most in danger; margin: above (+) or below "
        "(\N{MINUS SIGN}) where its harm begins; harm: chance of burnt leaf or worse; death: chance of losing the tree."
    )
    parts.append(Text(f"\n{legend}", style="dim"))
    parts += _done(plan, household)
    late = plan.made >= plan.sunset
    title = say("Still tonight, in walking order" if late else "This evening, in walking order")
    parts += _checklist(title, plan.tasks, plan.cautions, household)
    parts += _checklist(say("Tomorrow morning"), plan.morning, plan.cautions, household)
    parts += _at_risk(plan)
    parts += _limits(plan)
    parts += _cautions(plan.cautions)
    parts.append(_foot(plan, household))
    return Group(*parts)


def _head(plan: EveningPlan, household: Household) -> RenderableType:
    """Give verdict and forecast."""
    forecast = plan.forecast
    night = Text(say("{yard}, night of {day}", yard=plan.yard, day=long_day(plan.night)), style="bold")
    verdict = Text(plan.verdict, style="bold red" if plan.needs_action else "bold green")
    weather = Text(
        say(
            "Forecast minimum {minimum} at the station, dew point {dew_point}, wind {wind}, cloud {cloud}. "
            "Sunset {sunset}, sunrise {sunrise}.",
            minimum=_spread(forecast.station_minimum_c, household),
            dew_point=household.temperature(forecast.dew_point_c.p50),
            wind=household.wind(forecast.wind_m_s.p50),
            cloud=percent(forecast.cloud.p50),
            sunset=household.clock(plan.sunset),
            sunrise=household.clock(plan.sunrise),
        )
    )
    following = ""
    if forecast.following_minima_c:
        minima = ", ".join(household.temperature(s.p50) for s in forecast.following_minima_c)
        following = " " + say("Minima of the nights after: {minima}.", minima=minima)
    members = say_count(
        "{source}, {count} member.", "{source}, {count} members.", forecast.members, source=forecast.source
    )
    source = Text(members + following, style="dim")
    warnings = [Text(note(w), style="yellow") for w in forecast.warnings]
    return Padding(Group(night, verdict, Text(""), weather, source, *warnings), (1, 0, 1, 0))


def note(warning: str) -> str:
    """Say that something should be looked at."""
    return say("Note: {warning}", warning=warning)


def _spread(spread: Spread, household: Household) -> str:
    """Write median and range: "28 °F (25 to 31 °F)"."""
    return f"{household.temperature(spread.p50)} ({household.temperatures(spread.p10, spread.p90)})"


def _arrow(nothing: str, chosen: str, *, same: bool) -> str:
    """Write a value without and with the plan; once if nothing is done."""
    return nothing if same else f"{nothing} → {chosen}"


def _trees(plan: EveningPlan, household: Household, *, wide: bool) -> RenderableType:
    """Give one row per tree, the most endangered first; in a narrow terminal what it gets stands below its name."""
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    table.add_column(say("tree"), overflow="fold", max_width=26 if wide else 36)
    if wide:
        table.add_column(say("tonight"), overflow="fold", max_width=34)
    coldest = say("coldest {unit}", unit=household.degree)
    margin = say("margin {unit}", unit=household.step)
    for head in (coldest, margin, say("harm %"), say("death %")):
        table.add_column(head, justify="right", no_wrap=True)
    if wide:
        table.add_column(say("verdict"), no_wrap=True)
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
    verdict = Text(say(VERDICT_NAMES[tree.verdict]), style=VERDICT_STYLES[tree.verdict])
    if not same and tree.verdict_with_plan != tree.verdict:
        verdict.append(" → ", style="not bold default on default")
        verdict.append(say(VERDICT_NAMES[tree.verdict_with_plan]), style=VERDICT_STYLES[tree.verdict_with_plan])
    if _only_fruit(tree):
        verdict.append(say(" (fruit)"), style="not bold default on default")
    coldest = _arrow(
        household.bare_temperature(tree.tissue_min_c["nothing"].p50),
        household.bare_temperature(tree.tissue_min_c["chosen"].p50),
        same=same,
    )
    if tree.tissue != "leaf":
        coldest = f"{say(TISSUE_NAMES[tree.tissue])} {coldest}"
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
    return [_heading(say("Done already, it stays and counts")), *lines]


def _heading(text: str) -> Text:
    """Give a heading after an empty line."""
    return Text(f"\n{text}", style="bold")


def _checklist(
    title: str, tasks: Iterable[Task], cautions: Sequence[str], household: Household
) -> list[RenderableType]:
    """Give the tasks with deadline, person and steps, and the numbers of the cautions that belong to each."""
    tasks = list(tasks)
    if not tasks:
        return []
    lines: list[RenderableType] = [_heading(title)]
    group = ""
    for task in tasks:
        if task.when != group:
            group = task.when
            by = household.clock(max(t.deadline for t in tasks if t.when == group))
            occasion = say(OCCASIONS[group])
            lines.append(
                Text(occasion if group == "when_mild" else say("{occasion}, by {time}", occasion=occasion, time=by))
            )
        since = say("from {time}", time=household.moment(task.not_before)) if task.not_before is not None else ""
        who = ", ".join(part for part in (task.person, since, minutes(task.minutes)) if part)
        lines.append(
            Padding(
                Text.assemble(f"[ ] {task.order:2d}  ", (task.what, "bold"), f"  ({who})"),
                (0, 0, 0, 2),
            )
        )
        lines += [Padding(Text(step, style="dim"), (0, 0, 0, 10)) for step in task.steps]
        lines += [Padding(Text(c, style="yellow"), (0, 0, 0, 10)) for c in task.cautions if c not in cautions]
        numbers = sorted(cautions.index(c) + 1 for c in task.cautions if c in cautions)
        if numbers:
            heed = say_count(
                "Heed caution {numbers} below.",
                "Heed cautions {numbers} below.",
                len(numbers),
                numbers=", ".join(map(str, numbers)),
            )
            lines.append(Padding(Text(heed, style="yellow"), (0, 0, 0, 10)))
    return lines


def _at_risk(plan: EveningPlan) -> list[RenderableType]:
    """Give what stays in danger although the plan is followed."""
    if not plan.at_risk:
        return []
    lines: list[RenderableType] = [_heading(say("Stays at risk with this plan"))]
    for tree in plan.at_risk:
        dies = tree.chance_of_death >= 0.01
        risk = say(
            "{tree}: harm {harm}, death {death}. {why}" if dies else "{tree}: harm {harm}. {why}",
            tree=tree.name,
            harm=percent(tree.chance_of_harm),
            **({"death": percent(tree.chance_of_death)} if dies else {}),
            why=tree.why,
        )
        lines.append(Padding(Text(risk), (0, 0, 0, 2)))
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
        Text.assemble(
            _heading(say("What holds the plan back")), (" " + say("(planned anew with one more of each)"), "dim")
        )
    ]
    for limit in scarce:
        used = say(
            "{limit}: {used:.0f} of {available:.0f} {unit} used.",
            limit=limit.name,
            used=limit.used,
            available=limit.available,
            unit=limit.unit,
        )
        lines.append(Padding(Text(f"{used} {limit.one_more or ''}".rstrip()), (0, 0, 0, 2)))
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
    return [_heading(say("Cautions")), Padding(table, (0, 0, 0, 1))]


def _foot(plan: EveningPlan, household: Household) -> RenderableType:
    """Give what the plan costs and how it was found."""
    loss = plan.expected_loss
    best = plan.solver.status == "optimal"
    found = (
        say("proven best")
        if best
        else say("within {gap:.1f}\N{NO-BREAK SPACE}% of the best", gap=plan.solver.gap * 100)
    )
    worn = plan.wear >= 0.005
    sentences = [
        say(
            "Expected loss {nothing:.0f} {currency} if nothing is done, {plan:.0f} with the plan.",
            nothing=loss["nothing"],
            currency=plan.currency,
            plan=loss["plan"],
        ),
        say(
            "The plan takes {minutes} of work, {lifts}, {kwh:.1f} kWh{worn}; {found} over {nights} ({seconds:.1f} s).",
            minutes=minutes(plan.minutes),
            lifts=say_count("{count} lift", "{count} lifts", plan.lifts),
            kwh=plan.kwh,
            worn=say(", {wear:.2f} {currency} of wear on gear", wear=plan.wear, currency=plan.currency) if worn else "",
            found=found,
            nights=say_count("{count} night", "{count} nights", plan.solver.nights),
            seconds=plan.solver.seconds,
        ),
        say("Made {time}.", time=household.moment(plan.made)),
        *(f"{capital(one)}." for one in plan.solver.notes),
    ]
    return Text("\n" + " ".join(sentences), style="dim")


def comparison(plan: EveningPlan) -> RenderableType:
    """Lay out the plan beside doing nothing, the same as last time, and everything possible."""
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    table.add_column(say("tonight"), overflow="fold")
    loss = say("loss {currency}", currency=plan.currency)
    for head in (loss, say("lose a tree %"), say("trees"), say("minutes"), say("lifts"), "kWh"):
        table.add_column(head, justify="right", no_wrap=True)
    for way in plan.compare:
        table.add_row(
            Text(way.name, style="bold" if way.key == "plan" else ""),
            f"{way.expected_loss:.0f}",
            bare_percent(way.chance_of_losing_a_tree),
            str(len(way.measures)),
            f"{way.minutes:.0f}",
            str(way.lifts),
            decimal(f"{way.kwh:.1f}"),
        )
    notes = [Text(f"{capital(way.name)}: {way.note}.", style="dim") for way in plan.compare if way.note]
    legend = Text(
        say("Loss: expected, of all trees; lose a tree: chance that at least one dies; trees: how many get something."),
        style="dim",
    )
    day = long_day(plan.night)
    title = _heading(say("{yard}, night of {day}: what else could be done", yard=plan.yard, day=day))
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
    grades.add_column(say("grade"), justify="left")
    for head in (say("if nothing"), say("with the plan")):
        grades.add_column(head, justify="right")
    for grade, name in enumerate(GRADES):
        grades.add_row(f"{grade} {say(name)}", percent(tree.injury.nothing[grade]), percent(tree.injury.chosen[grade]))
    kind = f"{tree.taxon} {tree.cultivar}" if tree.cultivar else tree.taxon
    lines: list[RenderableType] = [
        _heading(say("{tree} ({kind}), night of {day}", tree=tree.name, kind=kind, day=long_day(plan.night))),
        Text(tree.reason),
        *([Text(say("Next best: {runner_up}", runner_up=tree.runner_up))] if tree.runner_up else []),
        Text(""),
        *_cold(tree, household),
        table,
        Text(""),
        grades,
    ]
    if tree.following_nights:
        lines.append(Text("\n" + say("Nights after: {nights}", nights="; ".join(tree.following_nights))))
    return Group(*lines)


def _cold(tree: TreePlan, household: Household) -> list[RenderableType]:
    """Give the sum that leads from the station's air to the tissue; nothing if it is not known."""
    if tree.cold is None:
        return []
    table = Table(box=None, pad_edge=False, header_style="dim", padding=(0, 2, 0, 0))
    table.add_column(max_width=34)
    for head in (say("adds"), say("makes"), say("in 4 of 5")):
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
    table.add_column(say("night of"), justify="left")
    minimum = say("minimum {unit}", unit=household.degree)
    for head in (minimum, say("at"), say("dew point"), say("wind"), say("cloud")):
        table.add_column(head, justify="right")
    for night in nights:
        low = night.minimum_c
        shown = household.bare_temperature(low.p50)
        from_, to = household.bare_temperature(low.p10), household.bare_temperature(low.p90)
        if from_ != to:
            shown += " " + say("({low} to {high})", low=from_, high=to)
        table.add_row(
            short_day(night.evening),
            shown,
            household.clock(night.coldest_at),
            household.temperature(night.dew_point_c.p50),
            household.wind(night.wind_m_s.p50),
            percent(night.cloud.p50),
        )
    notes = [Text(note(say_again(w)), style="yellow") for w in warnings]
    return Group(Text(say_again(source), style="dim"), *notes, Text(""), table)
