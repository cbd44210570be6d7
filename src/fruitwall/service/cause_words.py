"""Causes, reasons, questions and what to do, in words; every piece of advice with who says it."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING

from fruitwall.plants.catalogue import Source, read_source
from fruitwall.plants.causes import NO_SOURCE, Reason
from fruitwall.service.household import NO_BREAK, Household, decimal, percent, short_day
from fruitwall.service.ledger import GRADES, SIGNS
from fruitwall.speech import marked, say, say_count

if TYPE_CHECKING:
    from fruitwall.service.causes import Finding

CAUSE_NAMES = {
    "frost": marked("Frost"),
    "chill": marked("Cold above freezing"),
    "sun": marked("Sun and heat"),
    "drought": marked("Drought"),
    "wet": marked("Too much water"),
    "salt": marked("Salt"),
    "nutrients": marked("Lack of nutrients"),
    "shedding": marked("Natural shedding or rest"),
    "old": marked("Damage from before"),
    "other": marked("Something else"),
}

SURENESS = (
    (0.9, marked("Almost surely: {cause}")),
    (0.65, marked("Probably: {cause}")),
    (0.4, marked("Perhaps: {cause}")),
)
"""From which probability on a cause is named how; below, two are named. Our judgement."""

GROUNDS = {
    "frost_could": marked(
        "The nights since the look before had a chance of {chance} of so much harm by frost{coldest}."
    ),
    "frost_hardly": marked("The nights since the look before were hardly cold enough for frost{coldest}."),
    "chill_could": marked("The nights since had a chance of {chance} of so much harm above freezing{coldest}."),
    "chill_hardly": marked("The nights since were hardly cool enough to hurt it above freezing{coldest}."),
    "hot": marked("It was hot: up to {hottest}."),
    "not_hot": marked("It was not hot: {hottest} at most."),
    "high_sun": marked("The sun stands high at this time of the year."),
    "low_sun": marked("The sun stands low at this time of the year."),
    "dry_spell": marked("No rain and no watering was entered for {dry}."),
    "no_dry_spell": marked("It rained or was watered lately."),
    "drying_wind": marked("Dry wind blew over cold ground."),
    "much_rain": marked("Much rain in two weeks: {rain}."),
    "little_rain": marked("Little rain in two weeks: {rain}."),
    "roots_dry": marked("The yard file says that its roots stand dry."),
    "roots_wet": marked("The yard file says that its roots stand in water."),
    "salt_season": marked("Salt shows in late summer and autumn."),
    "no_salt_season": marked("Salt shows mostly in late summer and autumn."),
    "leached": marked("Rain has washed the soil through."),
    "potted": marked("In a pot salt gathers."),
    "just_fed": marked("It was fed within a month."),
    "fed": marked("It was fed within four months."),
    "palm": marked("Palms are often short of potassium."),
    "cool_soil": marked("In cold soil roots take up little."),
    "never_bare": marked("An evergreen does not drop most of its leaf by itself."),
    "spring_change": marked("Many evergreens change their oldest leaves in spring."),
    "rest": marked("Its kind drops its leaf or stands bare at this time of the year."),
    "no_rest": marked("Its kind does not rest at this time of the year."),
    "told_rest": marked("It was entered as resting or shedding."),
    "well_before": marked("At the look before nothing was wrong{before}."),
    "seen_before": marked("It was as bad at the look before{before}."),
    "less_before": marked("At the look before it was hurt nearly as much{before}: damage goes on showing for weeks."),
    "much_less_before": marked("At the look before it was hurt less{before}."),
}
"""What is known beside the signs; places are filled with what of it is known."""

QUESTIONS = {
    "wood": (
        marked("Is the wood alive?"),
        marked("Scrape a twig lightly with a nail or knife, near the damage: what colour is it under the bark?"),
    ),
    "side": (marked("On which side is it?"), marked("Walk once round the tree and compare the sides.")),
    "age": (
        marked("Are the young or the old leaves hurt?"),
        marked("Young leaves are at the ends of the shoots, old ones farther in and down."),
    ),
    "extent": (
        marked("Which part of the leaf is it?"),
        marked("Take a leaf that is half hurt and look where it began."),
    ),
    "fall": (
        marked("Do dead leaves fall or hang on?"),
        marked("Look on the ground, and touch a dead leaf: does it come off?"),
    ),
    "droop": (
        marked("How do the leaves hang?"),
        marked("Look in the morning and again at midday, if you can."),
    ),
    "speed": (marked("How fast did it come?"), marked("Compare with your last photo, or with what you remember.")),
    "shoots": (
        marked("Are the shoot tips green and firm?"),
        marked("Feel the ends of some shoots between two fingers."),
    ),
    "colour": (marked("Which colour is it mostly?"), marked("Look by daylight, at several leaves.")),
    "soil": (
        marked("Is the soil dry or wet?"),
        marked("Push a finger in, one finger deep, beside the trunk and at the edge of the crown."),
    ),
    "neighbours": (
        marked("Do other plants beside it show the same?"),
        marked("Look at plants of other kinds too, also at weeds."),
    ),
    "height": (marked("How high in the crown is it?"), marked("Compare the top with the lowest branches.")),
    "border": (
        marked("Is there a sharp border to what lay in the shade?"),
        marked("Look where one leaf or limb covers another."),
    ),
    "crust": (
        marked("Is there a white crust on soil or pot?"),
        marked("Look at the rim of the pot, the holes, and where the water stands."),
    ),
    "insects": (
        marked("Are there insects, webs, spots or holes?"),
        marked("Turn some leaves over and look at the shoots."),
    ),
    "bark": (marked("Is the bark split?"), marked("Look at trunk and limbs, all round and at the foot.")),
    "blight": (
        marked("Do brown areas run down leaf and stem?"),
        marked("Follow the brown from the leaf down its stalk into the stem."),
    ),
}
"""What is asked, and how to look, by group of signs."""


@dataclass(frozen=True)
class Advice:
    """One thing to do or to wait for.

    Attributes
    ----------
    words : str
        In English; to be said.
    sources : tuple of str
        Keys, or one of `plants.causes.NO_SOURCE`.
    palm : bool or None
        Only for palms, or only for other trees.
    """

    words: str
    sources: tuple[str, ...]
    palm: bool | None = None


def _advice(words: str, sources: str, *, palm: bool | None = None) -> Advice:
    return Advice(words, tuple(sources.split()), palm)


WHAT_TO_DO = {
    "frost": (
        _advice(
            marked("Do not prune yet: wait until the frosts are over and new growth shows where the live wood ends."),
            "cac_postfreeze ifas_clce_cold faber_afterfreeze mcconnell2023",
            palm=False,
        ),
        _advice(
            marked("Whitewash limbs that lost their leaves: sun on bare bark is often the worst damage after a frost."),
            "faber_afterfreeze cac_postfreeze",
            palm=False,
        ),
        _advice(
            marked("Water less, for there is less leaf; but see that the soil does not dry out."),
            "faber_afterfreeze cac_postfreeze ifas_clce_cold",
        ),
        _advice(
            marked("Do not feed: nothing revives a frozen tree, and soft growth freezes again."),
            "faber_afterfreeze mcconnell2023",
        ),
        _advice(
            marked("Keep a palm's dead leaves until the frosts are over, then free its bud so that it dries."),
            "ifas_nwdistrict_palms",
            palm=True,
        ),
    ),
    "chill": (
        _advice(marked("Keep it from the cold of the next nights as well: chilling adds up."), "our_judgement"),
        _advice(marked("Give it some shade on clear winter days: light makes it worse."), "wang_pitaya2018"),
        _advice(marked("Do not prune or feed before it is warm."), "mcconnell2023"),
    ),
    "sun": (
        _advice(marked("Leave slightly burnt leaves: they shade what is below."), "ucanr_heat_damage"),
        _advice(
            marked("Shade or whitewash limbs that were suddenly laid open."), "ucanr_heat_damage faber_afterfreeze"
        ),
        _advice(marked("Before the next hot day water in the morning."), "common_practice"),
    ),
    "drought": (
        _advice(marked("Feel the soil a finger deep; if it is dry, water slowly and deep."), "dunning2014"),
        _advice(marked("Wet a dry root ball twice, an hour apart: the first water runs past it."), "common_practice"),
        _advice(marked("Mulch the ground, but not against the trunk."), "common_practice"),
    ),
    "wet": (
        _advice(marked("Do not water until the soil is dry a finger deep; empty the saucer."), "common_practice"),
        _advice(
            marked("See that the holes of the pot are open and water runs away from the trunk."), "common_practice"
        ),
        _advice(marked("Look at some roots: light and firm is alive, brown and soft is rotten."), "common_practice"),
    ),
    "salt": (
        _advice(marked("Wash the soil through with plenty of good water, where it can run off."), "common_practice"),
        _advice(marked("Feed less, and never on dry soil."), "common_practice"),
        _advice(
            marked("If brown areas run down leaf and stem, a blight has followed: look once more for them."),
            "ucanr_tipburn",
        ),
    ),
    "nutrients": (
        _advice(
            marked(
                "See which leaves are pale: young ones lack iron, manganese or zinc, old ones nitrogen or magnesium."
            ),
            "common_practice",
            palm=False,
        ),
        _advice(marked("Old leaves of a palm that die from the tips lack potassium."), "broschat_mg318", palm=True),
        _advice(
            marked("See first that the soil is neither wet nor cold: then feeding does not help."), "common_practice"
        ),
        _advice(marked("Feed while it grows, and as the label says."), "common_practice"),
    ),
    "shedding": (
        _advice(marked("Nothing: it rests or changes its leaf."), "crfg_ff_cherimoya fao_ecocrop_view"),
        _advice(
            marked("If you doubt it, scratch a twig: green under the bark is alive."), "mcconnell2023 ifas_clce_cold"
        ),
        _advice(marked("Water less while it stands bare."), "common_practice"),
    ),
    "old": (
        _advice(marked("See what was entered at the look before: its cause still holds."), "our_judgement"),
        _advice(
            marked("Cut dead wood only once new growth shows where the live wood ends."),
            "faber_afterfreeze maccubbin2008",
        ),
    ),
    "other": (
        _advice(marked("Look under the leaves and along the shoots for insects, webs and spots."), "common_practice"),
        _advice(
            marked("Look at the foot of the trunk: gnawed or rotten bark starves the whole tree."), "common_practice"
        ),
        _advice(marked("Take a photo now, to compare."), "our_judgement"),
    ),
}

WHAT_TO_WAIT_FOR = {
    "frost": (
        _advice(
            marked("Damage goes on showing for one to four weeks: look again in a week and in a month."),
            "albanese2010 maccubbin2008",
        ),
        _advice(
            marked("Dead leaves that fall soon are a good sign; where they hang for weeks the twig is dead."),
            "subtrop_rehab_copy albanese2010",
            palm=False,
        ),
        _advice(
            marked("Scratch the bark again after some weeks: dark green may still die."), "albanese2010", palm=False
        ),
        _advice(
            marked("On a grafted tree only shoots from above the graft bring the variety back."),
            "clemson_citrus",
            palm=False,
        ),
        _advice(
            marked("The trunk of a palm may show its damage only after a year and a half to two years."),
            "ifas_nwdistrict_palms",
            palm=True,
        ),
    ),
    "chill": (
        _advice(marked("What was only limp in the cold is firm again by day."), "subtrop_rehab_copy"),
        _advice(marked("Paler leaves green up as the nights turn warm; burnt ones fall."), "common_practice"),
    ),
    "sun": (
        _advice(
            marked("A burn does not heal and does not spread; if it spreads, it is something else."), "common_practice"
        ),
    ),
    "drought": (
        _advice(marked("By the next morning it should stand firm; if not, look at the roots."), "common_practice"),
    ),
    "wet": (
        _advice(
            marked("New leaves come green within two months; if it wilts in wet soil, roots are dying."),
            "common_practice",
        ),
    ),
    "salt": (_advice(marked("Burnt edges stay: judge by the new leaves."), "common_practice"),),
    "nutrients": (
        _advice(marked("Old leaves seldom green up again: judge by the new ones, in two months."), "common_practice"),
    ),
    "shedding": (
        _advice(
            marked("New leaves come with the warmth; some kinds stand bare for weeks in late winter."),
            "crfg_ff_cherimoya fao_ecocrop_view",
        ),
    ),
    "old": (_advice(marked("Hurt leaves stay hurt until they fall: judge by the new ones."), "common_practice"),),
    "other": (
        _advice(marked("If it spreads to its neighbours, ask somebody who knows, with a leaf."), "common_practice"),
    ),
}


def cause_name(cause: str) -> str:
    """Name a cause."""
    return say(CAUSE_NAMES[cause])


def verdict_words(finding: Finding) -> str:
    """Say what it most likely is, and how sure that is."""
    (first, chance), (second, _) = list(finding.judgement.chances.items())[:2]
    words = next((words for least, words in SURENESS if chance >= least), None)
    if words is None:
        return say("Not to be told yet: {first} or {second}", first=within(first), second=within(second))
    return say(words, cause=within(first))


def within(cause: str) -> str:
    """Name a cause within a sentence."""
    name = cause_name(cause)
    return name[:1].lower() + name[1:]


def reason_words(reason: Reason, finding: Finding, household: Household) -> str:
    """Say one thing that speaks for or against a cause.

    Parameters
    ----------
    reason : Reason
    finding : Finding
    household : Household
        Of who reads.

    Returns
    -------
    str
        A sentence.
    """
    if reason.kind == "known":
        return say(GROUNDS[reason.key], **_values(reason.key, finding, household))
    sign = dict(SIGNS).get(reason.key, reason.key)
    words = say(sign)
    words = words[:1].lower() + words[1:]
    return say("Seen: {sign}.", sign=words) if reason.kind == "seen" else say("Not there: {sign}.", sign=words)


def _values(key: str, finding: Finding, household: Household) -> dict[str, str]:
    """Give what fills the places of a ground's words."""
    c = finding.circumstances
    coldest = before = ""
    if finding.coldest is not None and finding.coldest[1] == finding.coldest[1]:
        night, temperature = finding.coldest
        coldest = say(
            " (leaf or twig down to {temperature} on {day})",
            temperature=household.temperature(temperature),
            day=short_day(night),
        )
    if finding.before is not None:
        grade = say(GRADES[finding.before.grade][1])
        before = say(" (“{grade}”)", grade=grade)
        if finding.before.at is not None:
            day = short_day(finding.before.at.astimezone(household.zone).date())
            before = say(" (“{grade}”, {day})", grade=grade, day=day)
    chance = c.frost if key.startswith("frost") else c.chill
    return {
        "chance": percent(chance or 0.0),
        "coldest": coldest,
        "before": before,
        "hottest": household.temperature(c.hottest_c) if c.hottest_c is not None else "",
        "dry": say_count("{count} day", "{count} days", int(c.dry_days or 0)),
        "rain": _rain(c.rain_mm, household) if c.rain_mm is not None else "",
    }


def _rain(rain_mm: float, household: Household) -> str:
    """Write an amount of rain: "34 mm", "1.3 in"."""
    inches = household.display.length == "ft"
    return decimal(f"{rain_mm / MM_PER_INCH:.1f}{NO_BREAK}in" if inches else f"{rain_mm:.0f}{NO_BREAK}mm")


MM_PER_INCH = 25.4


def none_words(group: str, count: int) -> str:
    """Name the answer that none of the signs is there.

    Parameters
    ----------
    group : str
        What is asked for.
    count : int
        How many signs there are to choose from.

    Returns
    -------
    str
    """
    if count == 1:
        return say("No")
    return say("All parts alike") if group in ("age", "height") else say("None of these")


@cache
def _sources() -> dict[str, Source]:
    data = resources.files("fruitwall.plants") / "data"
    return {
        row["source_key"]: read_source(row)
        for row in csv.DictReader((data / "sources.csv").read_text(encoding="utf-8").splitlines())
    }


def source_words(keys: tuple[str, ...]) -> list[str]:
    """Name who says something, each on one line."""
    from fruitwall.service.kind_document import Origin
    from fruitwall.service.kind_words import cited

    found = []
    for key in keys:
        if key in NO_SOURCE:
            found.append(say(NO_SOURCE_WORDS[key]))
            continue
        its = _sources()[key]
        found.append(
            cited(
                Origin(
                    key=key,
                    authors=its.authors,
                    year=its.year,
                    title=its.title,
                    publisher=its.publisher,
                    where=its.identifier,
                    place="",
                )
            )
        )
    return found


NO_SOURCE_WORDS = {
    "common_practice": marked("common practice, no source"),
    "our_judgement": marked("our judgement"),
}
