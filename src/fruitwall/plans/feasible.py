"""Whether a plan can be carried out: checked from the plan itself, without the optimiser's rows.

Nothing of `plans.programme` is used here, so that a mistake there shows here. Who gets which sheet is checked piece
by piece, people minute by minute.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator

from fruitwall.plans.problem import EveningProblem, EveningSolution, PlannedTask

_EPS = 1e-6


def check_feasible(problem: EveningProblem, solution: EveningSolution) -> list[str]:
    """Tell everything that is wrong with a plan.

    Parameters
    ----------
    problem : EveningProblem
        What was to be decided.
    solution : EveningSolution
        What was.

    Returns
    -------
    list of str
        Empty if every limit of every night is kept, every part in use has somebody who does it, and the costs add
        up to what the plan says.
    """
    wrong = list(_choices(problem, solution))
    if wrong:
        return wrong
    wrong += _undone(problem, solution)
    standing = problem.in_place
    for night in range(problem.n_nights):
        tasks = [task for task in solution.tasks if task.night == night]
        needed = _needed(problem, solution, night)
        found = {task.part.key: task for task in tasks}
        wrong += [f"night {night}: {key} is needed but nobody sees to it" for key in sorted(needed - set(found))]
        wrong += [f"night {night}: {key} is done but nothing needs it" for key in sorted(set(found) - needed)]
        wrong += [f"night {night}: {key} is done twice" for key, n in _counts(t.part.key for t in tasks) if n > 1]
        for task in tasks:
            wrong += [f"night {night}: {task.part.key} {what}" for what in _task(problem, task, standing)]
        wrong += [f"night {night}: {what}" for what in _under_sheets(problem, solution, tasks, night)]
        wrong += [f"night {night}: {what}" for what in _limits(problem, tasks)]
        standing = frozenset(task.part.key for task in tasks if task.part.stays)
    wrong += _costs(problem, solution)
    return wrong


def _choices(problem: EveningProblem, solution: EveningSolution) -> Iterator[str]:
    """One option per tree and night; one state per shared thing; options under the states that they require."""
    nights = problem.n_nights
    if len(solution.choices) != len(problem.trees):
        yield f"{len(solution.choices)} trees are planned, the yard has {len(problem.trees)}"
        return
    known = {setting.key for setting in problem.settings}
    for group in {setting.group for setting in problem.settings}:
        states = solution.states.get(group, ())
        if len(states) != nights or any((group, state) not in known for state in states):
            yield f"{group} has no known state on every night: {states}"
            return
    for tree, options, chosen in zip(problem.trees, problem.options, solution.choices, strict=True):
        if len(chosen) != nights or not all(0 <= rank < len(options) for rank in chosen):
            yield f"tree {tree} has no known measure on every night: {chosen}"
            continue
        for night, rank in enumerate(chosen):
            for setting in options[rank].measure.requires:
                if solution.states[setting.group][night] != setting.state:
                    yield f"night {night}: tree {tree} is planned for {setting.key}, which is otherwise"


def _undone(problem: EveningProblem, solution: EveningSolution) -> Iterator[str]:
    """Trees whose finished measure would be taken away again tonight."""
    for tree, options, chosen in zip(problem.trees, problem.options, solution.choices, strict=True):
        has = {part.key for part in options[chosen[0]].measure.parts}
        finished = [{part.key for part in option.measure.parts} for option in options]
        most = max((parts for parts in finished if not parts - problem.done), key=len, default=set[str]())
        if most - has:
            yield f"night 0: tree {tree} has {', '.join(sorted(most))} already, which the plan takes away"


def _needed(problem: EveningProblem, solution: EveningSolution, night: int) -> set[str]:
    """Keys of all parts that the choices and states of a night are made of."""
    keys = {
        part.key
        for options, chosen in zip(problem.options, solution.choices, strict=True)
        for part in options[chosen[night]].measure.parts
    }
    for setting in problem.settings:
        if solution.states[setting.group][night] == setting.state:
            keys |= {part.key for part in setting.parts}
    return keys


def _under_sheets(
    problem: EveningProblem, solution: EveningSolution, tasks: list[PlannedTask], night: int
) -> Iterator[str]:
    """Trees under a sheet over several that are planned for something else, or that are under two sheets."""
    under: Counter[str] = Counter()
    for task in tasks:
        if task.part.kind != "cover":
            continue
        under.update(task.part.trees)
        if len(task.part.trees) > 1:
            for tree in task.part.trees:
                at = problem.trees.index(tree)
                measure = problem.options[at][solution.choices[at][night]].measure
                if all(part.key != task.part.key for part in measure.all_parts):
                    yield f"tree {tree} is under {task.part.key}, but planned for {measure.key}"
    for tree, sheets in sorted(under.items()):
        if sheets > 1:
            yield f"tree {tree} is under {sheets} sheets"


def _task(problem: EveningProblem, task: PlannedTask, standing: frozenset[str]) -> Iterator[str]:
    """What is wrong with one task."""
    part, way = task.part, task.way
    done = task.night == 0 and part.key in problem.done
    stands = done or (part.stays and part.key in standing)
    if task.again and not stands:
        yield "is taken to stand already, but does not"
    if not task.again and stands:
        yield "is set up anew, although it stands already"
    if not task.again and way not in part.ways:
        yield f"is done in a way that is not open to it: {way}"
    if task.again and not done and part.minutes_again > 0:
        able = {person for its in part.ways for person in its.people}
        if len(way.people) != 1 or way.people[0] not in able or way.minutes < part.minutes_again - _EPS:
            yield f"has to be done again by one able person in {part.minutes_again:g} min, got {way}"
    if way.lift is not None and way.lift.index > 1.0 + _EPS:
        yield f"asks for a lift with index {way.lift.index:.2f}"
    if part.sheets and task.sheet not in part.sheets:
        yield f"has the sheet {task.sheet}, which does not fit"
    if part.feeds:
        feed = next((feed for feed in part.feeds if feed.circuit == task.circuit), None)
        if feed is None:
            yield f"is fed from {task.circuit}, which does not reach it"
        elif feed.leads and task.lead not in feed.leads:
            yield f"has the lead {task.lead}, which does not reach or carry it"


def _limits(problem: EveningProblem, tasks: list[PlannedTask]) -> Iterator[str]:
    """Use of all supplies on one night."""
    supplies = problem.supplies
    minutes: defaultdict[str, float] = defaultdict(float)
    rolled: dict[str, list[tuple[float, float]]] = {}
    watts: defaultdict[str, float] = defaultdict(float)
    pieces: Counter[str] = Counter()
    sunny: defaultdict[str, float] = defaultdict(float)
    for task in tasks:
        for person in task.way.people:
            minutes[person] += task.way.minutes
            sunny[person] += task.way.minutes if task.part.deadline == "before_sun_leaves" and task.night == 0 else 0.0
        if task.way.trolley is not None:
            time = min(supplies.find(f"person/{person}").available for person in task.way.people)
            rolled.setdefault(task.way.trolley, []).append((time, task.way.minutes))
        if task.circuit is not None:
            watts[task.circuit] += task.part.watts
        pieces.update(f"sheet/{task.sheet}" for _ in range(task.sheet is not None))
        pieces.update(f"lead/{task.lead}" for _ in range(task.lead is not None))
        pieces.update(f"room/{task.part.room}" for _ in range(task.part.room is not None))
        pieces.update(f"{task.part.kind}/{task.part.device}" for _ in range(task.part.device is not None))
    paint = sum(task.part.paint_l for task in tasks)
    if paint > sum(item.available for item in supplies.items if item.kind == "paint") + _EPS:
        yield f"{paint:g} L of paint are used, which is more than there is"
    for kind, used in (("person", minutes), ("circuit", watts)):
        for name, amount in used.items():
            available = supplies.find(f"{kind}/{name}").available
            if amount > available + _EPS:
                yield f"{kind} {name} has {available:g}, {amount:g} are used"
    for name, amount in sunny.items():
        if amount > problem.sun_minutes + _EPS:
            yield f"person {name} needs {amount:g} min before the sun leaves in {problem.sun_minutes:g} min"
    have = {item.key: item.available for item in supplies.items}
    for key, taken in pieces.items():
        if taken > have.get(key, 0.0) + _EPS:
            yield f"{key}: {have.get(key, 0.0):g} there, {taken} used"
    for trolley, uses in rolled.items():
        # Whoever has least time goes first: by each time, those who have no more must be through.
        count = supplies.find(f"trolley/{trolley}").available
        for time, _ in uses:
            rolling = sum(its for window, its in uses if window <= time)
            if rolling > count * time + _EPS:
                yield f"trolley {trolley} is needed {rolling:g} min within {time:g} min"


def _costs(problem: EveningProblem, solution: EveningSolution) -> list[str]:
    """Whether the costs add up."""
    prices = problem.prices
    loss = effort = trouble = 0.0
    for options, chosen in zip(problem.options, solution.choices, strict=True):
        for night, rank in enumerate(chosen):
            loss += float(problem.weights[night]) * float(options[rank].loss[night])
    for task in solution.tasks:
        part, way = task.part, task.way
        now = len(way.people) * way.minutes + (0.0 if task.again else part.minutes_remove)
        paid = 1.0 if task.again else part.price_share
        price = (
            (paid * now + part.minutes_morning) * prices.per_hour / 60.0
            + paid * (way.lifts + way.lifts_back) * prices.per_lift
            + part.kwh * prices.per_kwh
            + part.wear * problem.wear_weight
        )
        effort += float(problem.weights[task.night]) * price
        trouble += 0.0 if task.again else float(problem.weights[task.night]) * problem.trouble
    wrong = list(_worst_case(problem, solution))
    for name, mine, stated in (
        ("loss", loss, solution.costs.loss),
        ("effort", effort, solution.costs.effort),
        ("trouble", trouble, solution.costs.trouble),
    ):
        if abs(mine - stated) > _EPS * max(1.0, abs(mine)):
            wrong.append(f"the {name} adds up to {mine:.6f}, the plan says {stated:.6f}")
    return wrong


def _worst_case(problem: EveningProblem, solution: EveningSolution) -> Iterator[str]:
    """Whether the mean of the worst tenth of the members is what the plan says."""
    if problem.aversion == 0.0:
        return
    members: list[float] = []
    for options, chosen in zip(problem.options, solution.choices, strict=True):
        for night, rank in enumerate(chosen):
            row = [float(problem.weights[night]) * loss for loss in options[rank].by_member[night].tolist()]  # type: ignore[index]
            members = [before + loss for before, loss in zip(members or [0.0] * len(row), row, strict=True)]
    left = tenth = len(members) / 10.0
    worst = 0.0
    for loss in sorted(members, reverse=True):
        worst += min(1.0, left) * loss / tenth
        left = max(0.0, left - 1.0)
    if solution.worst_case is None or abs(solution.worst_case - worst) > _EPS * max(1.0, worst):
        yield f"the worst tenth loses {worst:.6f}, the plan says {solution.worst_case}"


def _counts(keys: Iterable[str]) -> list[tuple[str, int]]:
    return sorted(Counter(keys).items())
