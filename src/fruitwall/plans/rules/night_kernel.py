"""One night after the other, compiled: who gets what by the rules, within what there is.

Numbers as in `tables.Tables`. A night goes like this (`docs/house-rules.md` says it in words):

1. Every measure of every tree gets a rank: 0 for what the rule asks first, then what it asks next, leaving it last.
2. Each unit is tried alone with plenty of everything: what it would get if there were no limits.
3. Units are served in order of what they save over what they take; each takes the best that is left.
4. Where somebody came short, that is done in three orders; each plan is mended by giving single units more and by
   letting one unit make way for another; the cheapest plan is taken.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numba
import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.rules import tables as levels

PASSIVE, BELOW, MAY_KILL, AS_NOW = range(4)
"""How a tree is decided on a night: not at all, by limits, by what saves most, by what pays."""

COVER, HEAT, INDOORS, ASIDE = levels.COVER, levels.HEAT, levels.INDOORS, levels.ASIDE
"""See `tables`; bit ``1 << level`` of what a rule asks for."""

SLIGHT = 1e-3
"""Weight of effort and of a rank where saving comes first: it decides between equals only. Our judgement."""

NO_RANK = 99
ROUNDS = 3
"""Most rounds of mending."""

MAKE_WAY = 12
"""Units that are asked to make way for one that came short: those that save least. Our judgement."""

ORDERS = 3
"""Orders of serving: saving a minute, saving, saving for a share of what is scarce."""

PLENTY = 1e6
"""More than a yard has of anything; small enough that what is taken from it is known to a millionth."""

_EPS = 1e-9


class Packed(NamedTuple):
    """Arrays of one kind in a row each, since a function with many arrays takes the compiler minutes.

    `n` begins with where each array begins in `n` or `f`: the tables by the names of `NUMBERS` and `SHARES`, what is in
    use by `STATE` and `PRICES`.
    """

    n: NDArray[np.int64]
    f: NDArray[np.float64]


NUMBERS = (
    "tree_m0", "unit_t0", "unit_trees", "unit_c0", "combo_p0", "combo_parts", "combo_level", "m_level", "m_ok", "m_p0",
    "m_parts", "p_new0", "p_new1", "p_again0", "p_again1", "p_stays", "p_moves", "k_r0", "r_of", "is_person",
)  # fmt: skip
SHARES = ("p_kwh", "p_wear", "k_cost", "k_people", "k_minutes", "k_lifts", "r_amount", "available")
(
    TREES, UNITS_OF, MEASURES, PARTS, RESOURCES, WIDTH,
    TREE_M0, UNIT_T0, UNIT_TREES, UNIT_C0, COMBO_P0, COMBO_PARTS, COMBO_LEVEL, M_LEVEL, M_OK, M_P0,
    M_PARTS, P_NEW0, P_NEW1, P_AGAIN0, P_AGAIN1, P_STAYS, P_MOVES, K_R0, R_OF, IS_PERSON,
    P_KWH, P_WEAR, K_COST, K_PEOPLE, K_MINUTES, K_LIFTS, R_AMOUNT, AVAILABLE,
) = range(34)  # fmt: skip
"""Places in the tables' `n`: counts, then where each array begins."""

(
    MOST, CHOSEN, MODE, COMBO, STANDS, RANK, COUNT, KIND, BEST_RANK, ORDER, UNITS, SERVED, IN_TURN, KEPT,
    FREE, WEIGHT, CHOOSING, BEST_LOSS, BEST_VALUE, SAVING, MINUTES, SCARCE, LEAST, WANTED, SCORE, WEAK, TAKEN,
    KEPT_FREE,
) = range(28)  # fmt: skip
"""Places in the `n` of what is in use: most measures of a tree, then where each array begins.

`WEIGHT` [unit] is what effort weighs against loss where plans compare, `CHOOSING` where things that a rule asks for
alike compare; `ORDER` [tree, `COUNT`] are a tree's measures, the most wanted first; `KEPT` holds two states to go back
to; from `UNITS` on much is scratch.
"""


def packed(t: levels.Tables) -> Packed:
    """Put the tables in a row."""
    arrays = t._asdict()
    counts = [t.tree_m0.size - 1, t.unit_t0.size - 1, t.m_level.size, t.p_new0.size, t.available.size, t.m_ok.shape[1]]
    return _in_a_row(counts, [arrays[name] for name in NUMBERS], [arrays[name] for name in SHARES])


def at_rest(t: levels.Tables) -> Packed:
    """Make room for what is in use."""
    trees, units, measures, parts = t.tree_m0.size - 1, t.unit_t0.size - 1, t.m_level.size, t.p_new0.size
    most, resources = int(np.diff(t.tree_m0).max()), t.available.size
    numbers = (trees, parts, units, parts, measures, trees, trees, trees, trees * most, units, units, units)
    prices = (resources, units, units, trees, units, units, units, units, measures, resources, units, units)
    return _in_a_row(
        [most],
        [np.zeros(size) for size in (*numbers, 2 * (trees + parts + units))],
        [np.zeros(size) for size in (*prices, units * resources, 2 * resources)],
    )


def _in_a_row(counts: list[int], numbers: list[Any], prices: list[Any]) -> Packed:
    """Give arrays one behind the other, with where each begins at the front."""
    front = len(counts) + len(numbers) + len(prices)
    begin = front + np.cumsum([0, *(its.size for its in numbers)])[:-1]
    prices_begin = np.cumsum([0, *(its.size for its in prices)])[:-1]
    n = np.concatenate([counts, begin, prices_begin, *(np.ravel(its) for its in numbers)]).astype(np.int64)
    return Packed(n, np.concatenate([np.ravel(its) for its in prices]).astype(np.float64))


BARE: Any = {
    "nogil": True,
    "error_model": "numpy",
    "no_cpython_wrapper": True,
    "no_cfunc_wrapper": True,
    "_nrt": False,
}
bare: Any = numba.njit(**BARE)
"""Nothing is allocated in these: without counting references they run ten times as fast and compile sooner."""


@bare
def _keep(t, w, slot):  # type: ignore[no-untyped-def]
    """Note what is in use."""
    size, resources = t.n[TREES] + t.n[PARTS] + t.n[UNITS_OF], t.n[RESOURCES]
    for at in range(size):
        w.n[w.n[KEPT] + slot * size + at] = w.n[w.n[CHOSEN] + at]  # mode and combination lie behind
    for at in range(resources):
        w.f[w.n[KEPT_FREE] + slot * resources + at] = w.f[w.n[FREE] + at]


@bare
def _back(t, w, slot):  # type: ignore[no-untyped-def]
    """Go back to what was in use."""
    size, resources = t.n[TREES] + t.n[PARTS] + t.n[UNITS_OF], t.n[RESOURCES]
    for at in range(size):
        w.n[w.n[CHOSEN] + at] = w.n[w.n[KEPT] + slot * size + at]
    for at in range(resources):
        w.f[w.n[FREE] + at] = w.f[w.n[KEPT_FREE] + slot * resources + at]


@bare
def _sort(w, scores, count):  # type: ignore[no-untyped-def]
    """Put the places of scores into `IN_TURN`, lowest first, equals as they are."""
    order, scores = w.n[IN_TURN], w.n[scores]
    for at in range(count):
        to = at
        while to > 0 and w.f[scores + w.n[order + to - 1]] > w.f[scores + at]:
            w.n[order + to] = w.n[order + to - 1]
            to -= 1
        w.n[order + to] = at


@bare
def _use(t, w, part):  # type: ignore[no-untyped-def]
    """Do a part in the cheapest mode there is room for, of equals the one that leaves most; False if there is none."""
    begin, end = t.n[t.n[P_NEW0] + part], t.n[t.n[P_NEW1] + part]
    if w.n[w.n[STANDS] + part]:
        begin, end = t.n[t.n[P_AGAIN0] + part], t.n[t.n[P_AGAIN1] + part]
    best, best_full = -1, 0.0
    for mode in range(begin, end):
        if best >= 0 and t.f[t.n[K_COST] + mode] > t.f[t.n[K_COST] + best] + _EPS:
            break
        full = 0.0
        for at in range(t.n[t.n[K_R0] + mode], t.n[t.n[K_R0] + mode + 1]):
            left = w.f[w.n[FREE] + t.n[t.n[R_OF] + at]]
            if t.f[t.n[R_AMOUNT] + at] > left + _EPS:
                full = np.inf
                break
            full = max(full, t.f[t.n[R_AMOUNT] + at] / max(left, _EPS))
        if full < np.inf and (best < 0 or full < best_full - _EPS):
            best, best_full = mode, full
    if best < 0:
        return False
    for at in range(t.n[t.n[K_R0] + best], t.n[t.n[K_R0] + best + 1]):
        w.f[w.n[FREE] + t.n[t.n[R_OF] + at]] -= t.f[t.n[R_AMOUNT] + at]
    w.n[w.n[MODE] + part] = best
    return True


@bare
def _give_back(t, w, part):  # type: ignore[no-untyped-def]
    mode = w.n[w.n[MODE] + part]
    for at in range(t.n[t.n[K_R0] + mode], t.n[t.n[K_R0] + mode + 1]):
        w.f[w.n[FREE] + t.n[t.n[R_OF] + at]] += t.f[t.n[R_AMOUNT] + at]
    w.n[w.n[MODE] + part] = -1


@bare
def _use_all(t, w, parts, begin, end):  # type: ignore[no-untyped-def]
    """Do these parts, all or none."""
    for at in range(begin, end):
        if not _use(t, w, t.n[t.n[parts] + at]):
            for done in range(begin, at):
                _give_back(t, w, t.n[t.n[parts] + done])
            return False
    return True


@bare
def _remove(t, w, unit):  # type: ignore[no-untyped-def]
    """Take everything from a unit."""
    combo = t.n[t.n[UNIT_C0] + unit] + w.n[w.n[COMBO] + unit]
    for at in range(t.n[t.n[COMBO_P0] + combo], t.n[t.n[COMBO_P0] + combo + 1]):
        _give_back(t, w, t.n[t.n[COMBO_PARTS] + at])
    w.n[w.n[COMBO] + unit] = 0
    for place in range(t.n[t.n[UNIT_T0] + unit], t.n[t.n[UNIT_T0] + unit + 1]):
        tree = t.n[t.n[UNIT_TREES] + place]
        measure = w.n[w.n[CHOSEN] + tree]
        for at in range(t.n[t.n[M_P0] + measure], t.n[t.n[M_P0] + measure + 1]):
            _give_back(t, w, t.n[t.n[M_PARTS] + at])
        w.n[w.n[CHOSEN] + tree] = t.n[t.n[TREE_M0] + tree]


@bare
def _try(t, w, unit, combo):  # type: ignore[no-untyped-def]
    """Give a unit the best that is left under a combination; False, and nothing done, if that cannot be."""
    first = t.n[t.n[UNIT_C0] + unit] + combo
    if not _use_all(t, w, COMBO_PARTS, t.n[t.n[COMBO_P0] + first], t.n[t.n[COMBO_P0] + first + 1]):
        return False
    w.n[w.n[COMBO] + unit] = combo
    for place in range(t.n[t.n[UNIT_T0] + unit], t.n[t.n[UNIT_T0] + unit + 1]):
        tree = t.n[t.n[UNIT_TREES] + place]
        found = False
        for at in range(w.n[w.n[COUNT] + tree]):
            measure = w.n[w.n[ORDER] + tree * w.n[MOST] + at]
            if t.n[t.n[M_OK] + measure * t.n[WIDTH] + combo] and _use_all(
                t, w, M_PARTS, t.n[t.n[M_P0] + measure], t.n[t.n[M_P0] + measure + 1]
            ):
                w.n[w.n[CHOSEN] + tree] = measure
                found = True
                break
        if not found:
            _remove(t, w, unit)
            return False
    return True


@bare
def _effort(t, w, unit):  # type: ignore[no-untyped-def]
    """Price of what a unit gets, and the minutes of people. [currency], [min]"""
    cost, people = 0.0, 0.0
    combo = t.n[t.n[UNIT_C0] + unit] + w.n[w.n[COMBO] + unit]
    for at in range(t.n[t.n[COMBO_P0] + combo], t.n[t.n[COMBO_P0] + combo + 1]):
        cost += t.f[t.n[K_COST] + w.n[w.n[MODE] + t.n[t.n[COMBO_PARTS] + at]]]
        people += t.f[t.n[K_PEOPLE] + w.n[w.n[MODE] + t.n[t.n[COMBO_PARTS] + at]]]
    for place in range(t.n[t.n[UNIT_T0] + unit], t.n[t.n[UNIT_T0] + unit + 1]):
        measure = w.n[w.n[CHOSEN] + t.n[t.n[UNIT_TREES] + place]]
        for at in range(t.n[t.n[M_P0] + measure], t.n[t.n[M_P0] + measure + 1]):
            cost += t.f[t.n[K_COST] + w.n[w.n[MODE] + t.n[t.n[M_PARTS] + at]]]
            people += t.f[t.n[K_PEOPLE] + w.n[w.n[MODE] + t.n[t.n[M_PARTS] + at]]]
    return cost, people


@bare
def _has(t, w, unit):  # type: ignore[no-untyped-def]
    """Whether anything is done for a unit."""
    if w.n[w.n[COMBO] + unit] > 0:
        return True
    for place in range(t.n[t.n[UNIT_T0] + unit], t.n[t.n[UNIT_T0] + unit + 1]):
        measure = w.n[w.n[CHOSEN] + t.n[t.n[UNIT_TREES] + place]]
        if t.n[t.n[M_P0] + measure + 1] > t.n[t.n[M_P0] + measure]:
            return True
    return False


@bare
def _worth(t, w, loss, unit):  # type: ignore[no-untyped-def]
    """Ranks of a unit's trees, and their losses, summed up."""
    ranks, lost = 0, 0.0
    for place in range(t.n[t.n[UNIT_T0] + unit], t.n[t.n[UNIT_T0] + unit + 1]):
        tree = t.n[t.n[UNIT_TREES] + place]
        if w.n[w.n[KIND] + tree] != PASSIVE:
            ranks += w.n[w.n[RANK] + w.n[w.n[CHOSEN] + tree]]
        lost += loss[w.n[w.n[CHOSEN] + tree]]
    return ranks, lost


@bare
def _value(t, w, loss, unit):  # type: ignore[no-untyped-def]
    """What a unit loses and costs: by the sum of it plans compare."""
    ranks, lost = _worth(t, w, loss, unit)
    cost, _ = _effort(t, w, unit)
    return lost + w.f[w.n[WEIGHT] + unit] * cost + SLIGHT * ranks


@bare
def _asked(t, w, unit, combo, ask):  # type: ignore[no-untyped-def]
    """Whether any tree of a unit asks for what a combination is: nobody warms a shelter for who asked for a cover."""
    level = t.n[t.n[COMBO_LEVEL] + t.n[t.n[UNIT_C0] + unit] + combo]
    if level == 0:
        return True
    for place in range(t.n[t.n[UNIT_T0] + unit], t.n[t.n[UNIT_T0] + unit + 1]):
        tree = t.n[t.n[UNIT_TREES] + place]
        if w.n[w.n[KIND] + tree] >= MAY_KILL or (w.n[w.n[KIND] + tree] == BELOW and ask[tree] & (1 << level)):
            return True
    return False


@bare
def _serve(t, w, loss, unit, ask):  # type: ignore[no-untyped-def]
    """Give a unit that has nothing the best that is left."""
    combos = t.n[t.n[UNIT_C0] + unit + 1] - t.n[t.n[UNIT_C0] + unit]
    if combos == 1:
        _try(t, w, unit, 0)
        return
    best, best_ranks, best_total = 0, 0, np.inf
    for combo in range(combos):
        if not _asked(t, w, unit, combo, ask) or not _try(t, w, unit, combo):
            continue
        ranks, lost = _worth(t, w, loss, unit)
        cost, _ = _effort(t, w, unit)
        total = lost + w.f[w.n[CHOOSING] + unit] * cost
        if best_total == np.inf or ranks < best_ranks or (ranks == best_ranks and total < best_total - _EPS):
            best, best_ranks, best_total = combo, ranks, total
        _remove(t, w, unit)
    _try(t, w, unit, best)


@bare
def _rank_measures(t, w, loss, ask):  # type: ignore[no-untyped-def]
    """Rank and order the measures of every tree for this night."""
    for tree in range(t.n[TREES]):
        begin, end = t.n[t.n[TREE_M0] + tree], t.n[t.n[TREE_M0] + tree + 1]
        kind = w.n[w.n[KIND] + tree]
        have = 0
        for measure in range(begin, end):
            have |= 1 << t.n[t.n[M_LEVEL] + measure]
        asked = ask[tree] & have
        place, count = 0, 0
        if asked & (1 << INDOORS):
            place += 1
        aside = place
        if asked & (1 << ASIDE):
            place += 1
        heat = place
        if asked & (1 << HEAT):
            place += 1
        cover = place
        if asked & (1 << COVER):
            place += 1
        for measure in range(begin, end):
            own = t.n[t.n[M_P0] + measure + 1] > t.n[t.n[M_P0] + measure]
            level = t.n[t.n[M_LEVEL] + measure]
            rank = NO_RANK
            if kind == AS_NOW:
                rank = 0
            elif kind == MAY_KILL:
                rank = 0 if loss[measure] < loss[begin] else 1
                if own and rank == 1:
                    rank = NO_RANK
            elif kind == BELOW:
                if asked & (1 << level):
                    rank = 0 if level == INDOORS else (aside if level == ASIDE else (heat if level == HEAT else cover))
                elif not own:  # whoever asked for a cover is content in a shelter that is warmed for others
                    rank = cover if level == HEAT else place
            elif not own:
                rank = 0
            w.n[w.n[RANK] + measure] = rank
            if rank == NO_RANK:
                continue
            key = _key(w, loss, measure, kind)
            at = count
            while at > 0:
                before = w.n[w.n[ORDER] + tree * w.n[MOST] + at - 1]
                its = _key(w, loss, before, kind)
                if w.n[w.n[RANK] + before] < rank or (w.n[w.n[RANK] + before] == rank and its <= key):
                    break
                w.n[w.n[ORDER] + tree * w.n[MOST] + at] = before
                at -= 1
            w.n[w.n[ORDER] + tree * w.n[MOST] + at] = measure
            count += 1
        w.n[w.n[COUNT] + tree] = count


@bare
def _key(w, loss, measure, kind):  # type: ignore[no-untyped-def]
    """Price by which measures of one rank compare: of loss and effort, or of loss where saving is all that counts."""
    return loss[measure] + (SLIGHT if kind == MAY_KILL else 1.0) * w.f[w.n[LEAST] + measure]


@bare
def _least(t, w, measure):  # type: ignore[no-untyped-def]
    """Least price of a measure's own parts tonight."""
    cost = 0.0
    for at in range(t.n[t.n[M_P0] + measure], t.n[t.n[M_P0] + measure + 1]):
        part = t.n[t.n[M_PARTS] + at]
        first = t.n[t.n[P_AGAIN0] + part] if w.n[w.n[STANDS] + part] else t.n[t.n[P_NEW0] + part]
        cost += t.f[t.n[K_COST] + first]  # modes lie cheapest first
    return cost


@bare
def _plan(t, w, loss, units, count, ask):  # type: ignore[no-untyped-def]
    """Serve units in this order and mend the plan; give its value and whether anybody came short."""
    for at in range(count):
        _remove(t, w, w.n[w.n[units] + at])
    for at in range(count):
        _serve(t, w, loss, w.n[w.n[units] + at], ask)
    value, short = 0.0, False
    for at in range(count):
        its = _value(t, w, loss, w.n[w.n[units] + at])
        value += its
        short = short or its > w.f[w.n[BEST_VALUE] + w.n[w.n[units] + at]] + SLIGHT / 10.0
    if short:
        value = _mend(t, w, loss, units, count, ask, value)
    return value, short


@bare
def _mend(t, w, loss, units, count, ask, value):  # type: ignore[no-untyped-def]
    """Give single units more, and let one that saves little make way for one that came short."""
    for _ in range(ROUNDS):
        better = False
        for place in range(count):
            unit = w.n[w.n[units] + place]
            mine = _value(t, w, loss, unit)
            if mine <= w.f[w.n[BEST_VALUE] + unit] + SLIGHT / 10.0:
                continue
            _keep(t, w, 0)
            _remove(t, w, unit)
            _serve(t, w, loss, unit, ask)
            now = _value(t, w, loss, unit)
            if now < mine - _EPS:
                value += now - mine
                mine = now
                better = True
                _keep(t, w, 0)
            else:
                _back(t, w, 0)
            for at in range(count):
                other = w.n[w.n[units] + at]
                saved = w.f[w.n[BEST_VALUE] + other] + w.f[w.n[SAVING] + other] - _value(t, w, loss, other)
                w.f[w.n[WEAK] + at] = saved if other != unit and _has(t, w, other) else np.inf
            _sort(w, WEAK, count)
            for turn in range(min(count, MAKE_WAY)):
                at = w.n[w.n[IN_TURN] + turn]
                if w.f[w.n[WEAK] + at] == np.inf or mine <= w.f[w.n[BEST_VALUE] + unit] + SLIGHT / 10.0:
                    break
                other = w.n[w.n[units] + at]
                its = _value(t, w, loss, other)
                _remove(t, w, unit)
                _remove(t, w, other)
                _serve(t, w, loss, unit, ask)
                _serve(t, w, loss, other, ask)
                change = _value(t, w, loss, unit) + _value(t, w, loss, other) - mine - its
                if change < -1e-6:
                    value += change
                    mine = _value(t, w, loss, unit)
                    better = True
                    _keep(t, w, 0)
                else:
                    _back(t, w, 0)
        if not better:
            break
    return value


@bare
def _alone(t, w, loss, units, count, ask):  # type: ignore[no-untyped-def]
    """Note what each unit would get if there were plenty of everything, what it would save and what it would take."""
    for r in range(t.n[RESOURCES]):
        w.f[w.n[WANTED] + r] = 0.0
        w.f[w.n[FREE] + r] = PLENTY
    for at in range(count):
        unit = w.n[w.n[units] + at]
        _remove(t, w, unit)
        left = 0.0
        for place in range(t.n[t.n[UNIT_T0] + unit], t.n[t.n[UNIT_T0] + unit + 1]):
            left += loss[t.n[t.n[TREE_M0] + t.n[t.n[UNIT_TREES] + place]]]
        _serve(t, w, loss, unit, ask)
        cost, people = _effort(t, w, unit)
        _, lost = _worth(t, w, loss, unit)
        w.f[w.n[BEST_VALUE] + unit] = _value(t, w, loss, unit)
        w.f[w.n[SAVING] + unit] = left - lost - w.f[w.n[WEIGHT] + unit] * cost
        w.f[w.n[MINUTES] + unit] = people
        for place in range(t.n[t.n[UNIT_T0] + unit], t.n[t.n[UNIT_T0] + unit + 1]):
            tree = t.n[t.n[UNIT_TREES] + place]
            w.n[w.n[BEST_RANK] + tree] = w.n[w.n[RANK] + w.n[w.n[CHOSEN] + tree]]
            w.f[w.n[BEST_LOSS] + tree] = loss[w.n[w.n[CHOSEN] + tree]]
        for r in range(t.n[RESOURCES]):
            w.f[w.n[TAKEN] + at * t.n[RESOURCES] + r] = PLENTY - w.f[w.n[FREE] + r]
            w.f[w.n[WANTED] + r] += w.f[w.n[TAKEN] + at * t.n[RESOURCES] + r]
        _remove(t, w, unit)
    for r in range(t.n[RESOURCES]):
        w.f[w.n[FREE] + r] = t.f[t.n[AVAILABLE] + r]
    all_minutes, want_minutes = 0.0, 0.0
    for r in range(t.n[RESOURCES]):
        if t.n[t.n[IS_PERSON] + r]:
            all_minutes += t.f[t.n[AVAILABLE] + r]
            want_minutes += w.f[w.n[WANTED] + r]
    for at in range(count):
        unit = w.n[w.n[units] + at]
        w.f[w.n[SCARCE] + unit] = 0.0
        for r in range(t.n[RESOURCES]):
            if not t.n[t.n[IS_PERSON] + r] and w.f[w.n[WANTED] + r] > t.f[t.n[AVAILABLE] + r] + _EPS:
                w.f[w.n[SCARCE] + unit] += w.f[w.n[TAKEN] + at * t.n[RESOURCES] + r] / max(
                    t.f[t.n[AVAILABLE] + r], _EPS
                )
        if want_minutes > all_minutes + _EPS:
            w.f[w.n[SCARCE] + unit] += w.f[w.n[MINUTES] + unit] / max(all_minutes, _EPS)


@bare
def _night(t, w, loss, kind, ask):  # type: ignore[no-untyped-def]
    """Decide one night."""
    for measure in range(loss.size):
        w.f[w.n[LEAST] + measure] = _least(t, w, measure)
    for tree in range(kind.size):
        w.n[w.n[KIND] + tree] = kind[tree]
    _rank_measures(t, w, loss, ask)
    count = 0
    for unit in range(t.n[UNITS_OF]):
        busy, pays, kills = False, False, False
        for place in range(t.n[t.n[UNIT_T0] + unit], t.n[t.n[UNIT_T0] + unit + 1]):
            its = kind[t.n[t.n[UNIT_TREES] + place]]
            busy = busy or its != PASSIVE
            pays = pays or its == AS_NOW
            kills = kills or its == MAY_KILL
        if busy:
            w.f[w.n[WEIGHT] + unit] = 1.0 if pays else SLIGHT
            w.f[w.n[CHOOSING] + unit] = SLIGHT if kills and not pays else 1.0
            w.n[w.n[UNITS] + count] = unit
            count += 1
    _alone(t, w, loss, UNITS, count, ask)
    best_value, any_best = np.inf, False
    for order in range(ORDERS):
        for at in range(count):
            unit = w.n[w.n[UNITS] + at]
            by = 1.0
            if order == 0:
                by = w.f[w.n[MINUTES] + unit]
            elif order == 2:
                by = w.f[w.n[SCARCE] + unit]
            w.f[w.n[SCORE] + at] = -w.f[w.n[SAVING] + unit] / max(by, 1e-3)
        _sort(w, SCORE, count)
        for at in range(count):
            w.n[w.n[SERVED] + at] = w.n[w.n[UNITS] + w.n[w.n[IN_TURN] + at]]
        value, short = _plan(t, w, loss, SERVED, count, ask)
        if not any_best or value < best_value - 1e-6:
            any_best, best_value = True, value
            _keep(t, w, 1)
        if not short:
            break
    _back(t, w, 1)


@bare
def _start(t, w, linked):  # type: ignore[no-untyped-def]
    """Begin a night with everything left and nothing in use; what stands is gone if a night lies between."""
    for r in range(t.n[RESOURCES]):
        w.f[w.n[FREE] + r] = t.f[t.n[AVAILABLE] + r]
    for tree in range(t.n[TREES]):
        w.n[w.n[CHOSEN] + tree] = t.n[t.n[TREE_M0] + tree]
    for part in range(t.n[PARTS]):
        stood = w.n[w.n[MODE] + part] >= 0 and t.n[t.n[P_STAYS] + part]
        w.n[w.n[STANDS] + part] = 1 if stood and linked else 0
        w.n[w.n[MODE] + part] = -1
    for unit in range(t.n[UNITS_OF]):
        w.n[w.n[COMBO] + unit] = 0


@numba.njit(nogil=True, cache=True, error_model="numpy")
def go_through(  # type: ignore[no-untyped-def]
    t, w, begin, end, losses, linked, kind, ask, measure, short, minutes, lifts, kwh, wear, carried
):  # fmt: skip
    """Decide nights `begin` to `end`, of whole winters, into the last seven arrays, from `w` at rest.

    `losses` [night, measure]; `linked` [night]: the night before is the one in the row. `kind`, `ask` [night, tree]:
    how each is decided, and which levels its rule asks for. The others as in `nightly.Chosen`, nights first.
    """
    for part in range(t.n[PARTS]):
        w.n[w.n[MODE] + part] = -1
    for night in range(begin, end):
        _start(t, w, linked[night])
        busy = False
        for tree in range(t.n[TREES]):
            busy = busy or kind[night, tree] != PASSIVE
        if not busy:
            continue
        loss = losses[night]
        _night(t, w, loss, kind[night], ask[night])
        for tree in range(t.n[TREES]):
            chosen = w.n[w.n[CHOSEN] + tree]
            measure[night, tree] = chosen - t.n[t.n[TREE_M0] + tree]
            if kind[night, tree] == BELOW:
                short[night, tree] = w.n[w.n[RANK] + chosen] > w.n[w.n[BEST_RANK] + tree]
            elif kind[night, tree] != PASSIVE:
                short[night, tree] = loss[chosen] > w.f[w.n[BEST_LOSS] + tree] + _EPS
        for part in range(t.n[PARTS]):
            mode = w.n[w.n[MODE] + part]
            if mode >= 0:
                minutes[night] += t.f[t.n[K_MINUTES] + mode]
                lifts[night] += t.f[t.n[K_LIFTS] + mode]
                kwh[night] += t.f[t.n[P_KWH] + part]
                wear[night] += t.f[t.n[P_WEAR] + part]
                if t.n[t.n[P_MOVES] + part] and not w.n[w.n[STANDS] + part]:
                    carried[night] += 1.0
