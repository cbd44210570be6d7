"""What the page of winter chill shows, worked out before the template."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import quote

from fruitwall.plants.chill_tables import MODELS, UTAH, Model
from fruitwall.service.chill_season import (
    amount,
    basis_words,
    is_least,
    model_words,
    notices,
    sources,
    sum_words,
    unit_words,
    verdict,
    warmth_words,
    when_words,
    yard_table,
)
from fruitwall.service.household import number
from fruitwall.speech import say
from fruitwall.web.charts.chart import Chart, DrawnChart, Point, Series, draw

if TYPE_CHECKING:
    from fruitwall.service.chill_document import ChillNeeded, ChillSeason, TreeChill
    from fruitwall.service.household import Household


@dataclass(frozen=True)
class ChillTree:
    """One tree as shown.

    Attributes
    ----------
    mark : str
        Its anchor.
    name, url : str
    lines : tuple of str
        What it needs and has, and when it has enough.
    chart : DrawnChart or None
    others : tuple of str
        The same by other figures.
    sums : tuple of (str, str)
        Every sum: its name and what it is now.
    beside : tuple of str
    """

    mark: str
    name: str
    url: str
    lines: tuple[str, ...]
    chart: DrawnChart | None
    others: tuple[str, ...]
    sums: tuple[tuple[str, str], ...]
    beside: tuple[str, ...]


@dataclass(frozen=True)
class ChillPage:
    """All that the page shows.

    Attributes
    ----------
    verdict, why : str
    caption : str
    columns : tuple of str
    rows : tuple of (str, tuple of str)
        Anchor of the tree, and its cells.
    trees : tuple of ChillTree
    notices, without_need, sources : tuple of str
    """

    verdict: str
    why: str
    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, tuple[str, ...]], ...]
    trees: tuple[ChillTree, ...]
    notices: tuple[str, ...]
    without_need: tuple[str, ...]
    sources: tuple[str, ...]


def chill_page(season: ChillSeason, household: Household) -> ChillPage:
    """Work out the page.

    Parameters
    ----------
    season : ChillSeason
    household : Household
        Of who reads.

    Returns
    -------
    ChillPage
    """
    table = yard_table(season, household)
    return ChillPage(
        verdict=verdict(season, household),
        why=say(
            "Trees that drop their leaf for winter wake up well only after enough cool hours. Most is added at "
            "{range}; frost adds little, and warm days take away.",
            range=household.temperatures(UTAH.bounds_c[1], UTAH.bounds_c[2]),
        ),
        caption=table.caption,
        columns=table.columns,
        rows=tuple((_mark(tree), row) for tree, row in zip(table.trees, table.rows, strict=True)),
        trees=tuple(_tree(tree, season, household) for tree in season.trees),
        notices=tuple(notices(season, household)),
        without_need=tuple(season.without_need),
        sources=tuple(sources(season)),
    )


def _mark(tree: str) -> str:
    return f"chill-{tree}"


def _tree(tree: TreeChill, season: ChillSeason, household: Household) -> ChillTree:
    return ChillTree(
        mark=_mark(tree.tree),
        name=tree.name,
        url=f"/trees/{quote(tree.tree, safe='')}",
        lines=tuple(_lines(tree, season, household)),
        chart=_chart(tree, season, household) if tree.known_hours else None,
        others=tuple(_met_words(need, tree, season, household) for need in tree.needs[1:]),
        sums=tuple((model_words(model, household), amount(model, tree.sums[model])) for model in _ordered()),
        beside=tuple(_beside(tree)),
    )


def _ordered() -> list[Model]:
    """Give the sums, portions first."""
    return ["portions", *(model for model in MODELS if model != "portions")]


def _lines(tree: TreeChill, season: ChillSeason, household: Household) -> list[str]:
    model = tree.needs[0].model if tree.needs else "portions"
    has = say("So far it has {amount}.", amount=sum_words(model, tree.sums[model], household, least=is_least(tree)))
    if not tree.needs:
        return [say("How much winter chill it needs is not known here."), has]
    need = tree.needs[0]
    found = [basis_words(tree, need, household), has, *_dates(need, tree, season, household)]
    if tree.warmth_k_h is not None:
        found.append(
            say(
                "Warmth since it had the lower figure: {amount} growing degree hours ({unit} times hours).",
                amount=warmth_words(tree, household),
                unit=household.step,
            )
        )
    return found


def _dates(need: ChillNeeded, tree: TreeChill, season: ChillSeason, household: Household) -> list[str]:
    least = is_least(tree)
    if need.low == need.high:
        return [say("It has enough: {when}.", when=when_words(need.at_high, season, household, least=least))]
    return [
        say("Lower figure: {when}.", when=when_words(need.at_low, season, household, least=least)),
        say("Upper figure: {when}.", when=when_words(need.at_high, season, household, least=least)),
    ]


def _met_words(need: ChillNeeded, tree: TreeChill, season: ChillSeason, household: Household) -> str:
    """Tell a need by another sum in one line."""
    return " ".join([basis_words(tree, need, household), *_dates(need, tree, season, household)])


def _beside(tree: TreeChill) -> list[str]:
    found = []
    if tree.portions_at_bud is not None:
        found.append(
            say(
                "By the temperature of its twigs instead of the air it would be {amount} portions.",
                amount=number(tree.portions_at_bud, 1),
            )
        )
    return found


def _chart(tree: TreeChill, season: ChillSeason, household: Household) -> DrawnChart | None:
    """Draw the sum over the winter, what may come as a band, and what is needed."""
    need = tree.needs[0] if tree.needs else None
    model = need.model if need is not None else "portions"
    past = [Point(season.since, 0.0), *(Point(day.at, day.value) for day in tree.past)]
    series = [Series(say("so far"), past, told="last")]
    if tree.coming:
        ahead = [Point(day.at, day.value, day.low or 0.0, day.high or 0.0) for day in tree.coming]
        last = past[-1]
        joined = Point(last.at, last.value, last.value, last.value)
        series.append(Series(say("to come"), [joined, *ahead], look="two", told="last"))
    if need is not None:
        end = (tree.coming or tree.past)[-1].at
        names = {need.low: say("needed")}
        if need.low < need.high:
            names = {need.low: say("needed, lower figure"), need.high: say("needed, upper figure")}
        for level, name in names.items():  # lines of their own: a band would lie over what is to come
            ends = [Point(at, level) for at in (season.since, end)]
            series.append(Series(name, ends, look="three", told="none"))
    return draw(
        Chart(
            title=say("{tree}: winter chill", tree=tree.name),
            unit=unit_words(model),
            zone=household.zone,
            series=series,
            zero=True,
            told=[say("Of what is to come, 8 courses in 10 lie within the band.")] if tree.coming else [],
        )
    )
