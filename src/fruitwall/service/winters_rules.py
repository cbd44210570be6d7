"""House rules over many winters: ready-made ones, those that a household writes, and all of them side by side."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from fruitwall.errors import PlanError
from fruitwall.plans.rules.assumed import YEARS_AHEAD
from fruitwall.plans.rules.outcome import Ahead
from fruitwall.plans.rules.rule import HouseRule, RuleSet, check_rule
from fruitwall.service.winters_weather import AS_THEY_WERE, WeatherChoice
from fruitwall.service.work import Progress, WorkPart, telling, work
from fruitwall.speech import marked, say, told

if TYPE_CHECKING:
    from datetime import datetime

    from fruitwall.plans.rules.ground import Ground
    from fruitwall.plans.rules.nightly import Chosen
    from fruitwall.service.house import House
    from fruitwall.service.winters_rules_document import ComparedRules, RulesDocument, RuleTold
    from fruitwall.yard.model import Yard

HOUSE_RULES = "house_rules"
"""Setting of the yard: rules that the household wrote."""

OWN = "own"
"""Key of the household's own rule set."""

MOST_RULES = 60
"""So many own rules are kept at most."""

SHORT_NIGHTS = 30
"""So many nights on which not everything could be done are told one by one. Our judgement."""

GROUND_SHARE = 0.75
"""Share of the whole time that the ground takes where it is not kept. Measured on the demo's yard. [-]"""

AHEAD = Ahead()

KEPT_AS = "rules 3"
"""With what keys begin; another one when what is kept changes its meaning."""

TITLE = marked("House rules side by side")

LIMITS = (
    marked(
        "All rules meet the same winters, the same errors of the forecast and the same luck, so that they compare. "
        "What people or gear do not suffice for is not done: what saves most for its minutes comes first."
    ),
    marked(
        "A limit is held against the minimum that was forecast in the evening, which may be wrong. What pays, and "
        "whether a night may kill, is judged by the weather that came, as if it had been forecast well: these two "
        "rules look a little better than they are."
    ),
    marked(
        "What pays is judged evening by evening. The evening's plan itself looks some nights ahead, and may begin a "
        "cold spell sooner."
    ),
    marked(
        "What stands stays until the next evening, and costs no setting up if it is wanted again. If not, it is undone "
        "that day; its minutes and lifts are counted."
    ),
    *YEARS_AHEAD,
)
"""What the figures mean."""


@dataclass(frozen=True)
class Compared:
    """One rule set, and what came of it.

    Attributes
    ----------
    rule_set : RuleSet
    told : ComparedRules
        Figures over the drawn futures, and nights on which not all could be done.
    """

    rule_set: RuleSet
    told: ComparedRules


def preset_rules() -> tuple[RuleSet, ...]:
    """Give the ready-made rule sets, from none to what pays."""
    covering = HouseRule(cover_below_c=0.0)
    return (
        RuleSet("never", marked("Never protect"), (HouseRule(way="never"),)),
        RuleSet("cover", marked("Cover in frost"), (covering,)),
        RuleSet(
            "cover-carry",
            marked("Cover in frost, carry the pots in harder frost"),
            (covering, HouseRule(trees="potted", cover_below_c=0.0, carry_below_c=-1.0)),
        ),
        RuleSet(
            "carry-no-more",
            marked("Cover and warm, carry no pot"),
            (HouseRule(cover_below_c=0.0, heat_below_c=-2.0),),
        ),
        RuleSet("may-kill", marked("Only when the night may kill"), (HouseRule(way="may_kill"),)),
        RuleSet("as-now", marked("What pays, as now"), (HouseRule(way="as_now"),)),
    )


def own_rules(house: House) -> tuple[RuleSet, ...]:
    """Give the rule set that the household wrote; none where it wrote no rule."""
    rules = kept_rules(house)
    return (RuleSet(OWN, marked("Our own rules"), rules),) if rules else ()


def kept_rules(house: House) -> tuple[HouseRule, ...]:
    """Give the rules that the household wrote, oldest first; what cannot be read any more is passed over."""
    kept = house.ledger.setting(HOUSE_RULES)
    found = []
    for entry in kept if isinstance(kept, list) else []:
        try:
            rule = HouseRule(**entry)
            check_rule(rule)
        except (TypeError, PlanError):
            continue
        found.append(rule)
    return tuple(found)


def keep_rule(house: House, rule: HouseRule, *, author: str, now: datetime) -> None:
    """Keep a rule of the household; it replaces the one that it has for the same trees.

    Parameters
    ----------
    house : House
    rule : HouseRule
    author : str
    now : datetime, aware

    Raises
    ------
    PlanError
        If it cannot be meant, or the yard does not have its trees; nothing is changed then.
    """
    check_rule(rule)
    yard, _ = house.yard()
    if rule.trees not in tree_choices(yard):
        raise PlanError(
            say('the yard has no trees "{trees}": choose them from the list', trees=rule.trees.partition(":")[2])
        )
    others = [one for one in kept_rules(house) if one.trees != rule.trees]
    if len(others) >= MOST_RULES:
        raise PlanError(say("there are {count} own rules already: remove one first", count=len(others)))
    house.ledger.set(HOUSE_RULES, [asdict(one) for one in (*others, rule)], author=author, now=now)


def remove_rule(house: House, trees: str, *, author: str, now: datetime) -> None:
    """Remove the household's rule for some trees, as written in `HouseRule.trees`; nothing where there is none."""
    rules = kept_rules(house)
    others = [asdict(one) for one in rules if one.trees != trees]
    if len(others) < len(rules):
        house.ledger.set(HOUSE_RULES, others, author=author, now=now)


def tree_choices(yard: Yard) -> dict[str, str]:
    """Give what a rule can name in a yard, with its name: all, pots, planted, each kind, each tree."""
    from fruitwall.service.treatments import kinds_of

    found = {"all": say("All trees"), "potted": say("All pots"), "planted": say("All trees in the ground")}
    kinds = sorted({kind.scientific for kind in kinds_of(yard).values()})
    found |= {f"taxon:{kind}": say("Kind: {kind}", kind=kind) for kind in kinds}
    return found | {f"tree:{tree.id}": tree.name for tree in yard.trees}


def read_rule(typed: Mapping[str, str], celsius: Callable[[str], float]) -> HouseRule:
    """Read a rule as a form gives it.

    Parameters
    ----------
    typed : Mapping of str
        ``trees``, ``way``, ``cover``, ``heat``, ``carry`` (limits in the reader's unit; empty: none) and ``death``, in
        percent.
    celsius : callable
        Reads a temperature in the reader's unit; raises ValueError where it is none. [°C]

    Raises
    ------
    PlanError
        Naming what is wrong.
    """
    limits: dict[str, float | None] = {}
    for name, field in (("cover", "cover_below_c"), ("heat", "heat_below_c"), ("carry", "carry_below_c")):
        text = typed.get(name, "").strip()
        try:
            limits[field] = celsius(text) if text else None
        except ValueError:
            raise PlanError(say('"{typed}" is no temperature: write a number, or leave it empty', typed=text)) from None
    text = typed.get("death", "").strip().replace(",", ".").removesuffix("%").strip()
    way: Any = typed.get("way", "below")
    try:
        death = float(text) / 100.0 if text else HouseRule().carry_if_death
    except ValueError:
        raise PlanError(say('"{typed}" is no percentage: write a number such as 5', typed=typed["death"])) from None
    if way != "below":  # what does not matter is not kept
        limits = dict.fromkeys(limits)
    rule = HouseRule(typed.get("trees", ""), way, **limits, carry_if_death=death)
    check_rule(rule)
    return rule


def compare(
    house: House,
    rule_sets: Sequence[RuleSet],
    choice: WeatherChoice = AS_THEY_WERE,
    ahead: Ahead = AHEAD,
    heard: Callable[[Progress], None] = lambda _progress: None,
    stop: Callable[[], bool] = lambda: False,
) -> list[Compared]:
    """Replay rule sets on the same winters with the same luck.

    Parameters
    ----------
    house : House
    rule_sets : sequence of RuleSet
    choice : WeatherChoice
        Which winters.
    ahead : Ahead
        How the futures are drawn.
    heard, stop : callable
        As for `service.work.work`; what was done is kept.

    Returns
    -------
    list of Compared
        In their order; empty where no whole winter is known.
    """
    from fruitwall.service.winters_ground import winters_ground

    ground = winters_ground(house, choice, heard=telling(heard, stop, TITLE, end=GROUND_SHARE))
    if ground is None:
        return []
    return compare_on(house, ground, rule_sets, ahead, telling(heard, stop, TITLE, begin=GROUND_SHARE))


def compare_on(
    house: House, ground: Ground, rule_sets: Sequence[RuleSet], ahead: Ahead, heard: Callable[[float], None]
) -> list[Compared]:
    """Replay rule sets on a ground; `heard` is told the share, and may raise `Stopped`."""
    from fruitwall.service.winters_rules_document import ComparedRules

    parts = [
        WorkPart(
            f"{KEPT_AS} {ground.mark} {ahead} {json.dumps([asdict(rule) for rule in rules.rules], sort_keys=True)}",
            1.0,
            rules.name,
            lambda rules=rules: _figures(ground, rules, ahead),  # type: ignore[misc]
        )
        for rules in rule_sets
    ]
    found = work(house, parts, heard=lambda progress: heard(progress.share))
    return [
        Compared(
            rules,
            ComparedRules.model_validate(
                {
                    "key": rules.key,
                    "name": rules.name,
                    "own": rules.key == OWN,
                    "rules": [rule_told(rule) for rule in rules.rules],
                    **figures,
                }
            ),
        )
        for rules, figures in zip(rule_sets, found, strict=True)
    ]


def rule_told(rule: HouseRule) -> RuleTold:
    """Write a rule."""
    from fruitwall.service.winters_rules_document import RuleTold

    return RuleTold(
        trees=rule.trees,
        way=rule.way,
        cover_below_c=rule.cover_below_c,
        heat_below_c=rule.heat_below_c,
        carry_below_c=rule.carry_below_c,
        if_death=rule.carry_if_death,
    )


def _figures(ground: Ground, rules: RuleSet, ahead: Ahead) -> dict[str, Any]:
    """Choose, play and count one rule set."""
    from fruitwall.plans.rules.nightly import choose
    from fruitwall.plans.rules.outcome import play
    from fruitwall.plans.rules.tally import tally
    from fruitwall.plans.rules.usage import per_winter
    from fruitwall.service.winters_search import around

    chosen = [choose(ground, step, rules) for step in ground.steps]
    counted = tally(ground, play(ground, chosen, ahead))
    names = ("hurt", "trees_lost", "fruit_lost", "minutes", "lifts", "kwh", "loss", "effort", "total")
    now = chosen[0]
    return {
        **{name: around(getattr(counted, name)).model_dump() for name in names},
        "by_grade": [around(spread).model_dump() for spread in counted.by_grade],
        "worst_winter_loss": counted.worst_winter_loss,
        "busy_nights": per_winter(ground, np.asarray(now.minutes > 0.0, dtype=np.float64)),
        "carried": per_winter(ground, now.carried.astype(np.float64)),
        "short_nights": per_winter(ground, np.asarray(now.short.any(axis=0), dtype=np.float64)),
        "short": _short(ground, now),
    }


def _short(ground: Ground, chosen: Chosen) -> list[dict[str, Any]]:
    """Tell the newest nights on which not everything could be done."""
    nights = ground.nights
    newest = np.flatnonzero(chosen.short.any(axis=0))[::-1][:SHORT_NIGHTS]
    return [
        {
            "winter": nights.winters[nights.winter[at]],
            "evening": str(nights.evening[at]),
            "told_c": round(float(nights.told_c[at]), 2),
            "trees": [
                tree.tree for tree, short in zip(ground.steps[0].trees, chosen.short[:, at], strict=True) if short
            ],
        }
        for at in newest.tolist()
    ]


def rules_key(house: House, choice: WeatherChoice = AS_THEY_WERE) -> str | None:
    """Give the same text as long as the document would be the same; None where no whole winter is known."""
    from fruitwall.service.winters_ground import present_key

    ground = present_key(house, choice)
    own = [asdict(rule) for rule in kept_rules(house)]
    return None if ground is None else f"{KEPT_AS} {ground} {own}"


def rules_document(
    house: House,
    choice: WeatherChoice = AS_THEY_WERE,
    *,
    ahead: Ahead = AHEAD,
    heard: Callable[[float], None] = lambda _share: None,
) -> RulesDocument | None:
    """Compare the ready-made rules and the household's own.

    Parameters
    ----------
    house : House
    choice : WeatherChoice
        Which winters.
    ahead : Ahead
        How the futures are drawn.
    heard : callable (share)
        Told how far it is, 0 to 1; may raise `Stopped`: what was done is kept.

    Returns
    -------
    RulesDocument or None
        None where no whole winter is known. Its notes are told sentences (`say_again`).
    """
    from fruitwall.service.winters_ground import winters_ground
    from fruitwall.service.winters_rules_document import RulesDocument

    ground = winters_ground(house, choice, heard=lambda share: heard(GROUND_SHARE * share))
    if ground is None:
        return None
    rule_sets = (*own_rules(house), *preset_rules())
    found = compare_on(
        house, ground, rule_sets, ahead, lambda share: heard(GROUND_SHARE + (1.0 - GROUND_SHARE) * share)
    )
    winters = ground.nights.winters
    trees = ground.steps[0].trees
    document = RulesDocument(
        currency=house.yard()[0].display.currency,
        source=ground.source,
        winters=[winters[0], winters[-1]],
        count=len(winters),
        years=ahead.years,
        draws=ahead.draws,
        names={tree.tree: tree.name for tree in trees},
        compared=[one.told for one in found],
        notes=[],
    )
    # Put in without being checked: told sentences stay what they are.
    return document.model_copy(update={"notes": [*LIMITS, *ground.notes]})


def rules_verdict(document: RulesDocument) -> str:
    """Say in one told sentence which rules come out best, for the overview."""
    best = min(document.compared, key=lambda one: one.total.mean)
    return told(
        'Least loss and effort together: "{name}", {total:.0f} {currency} a winter.',
        name=told(best.name),
        total=best.total.mean,
        currency=document.currency,
    )
