"""Tasks of several trees on one day are told as one thing to do."""

from __future__ import annotations

from datetime import date

from fruitwall.service.season import task_groups
from fruitwall.service.season_part import SeasonTask

DAY = date(2026, 12, 23)


def task(tree, *, why="", group="Water the trees", due=DAY, urgent=False, steps=()):
    return SeasonTask(
        key=f"water:{tree}",
        part="water",
        trees=(tree,),
        what=f"Water {tree}",
        why=why,
        due=due,
        minutes=3.0,
        group=group,
        line=f"{tree}: 5 L",
        urgent=urgent,
        steps=steps,
    )


def test_one_group_and_day_makes_one_thing_with_a_line_for_each():
    (group,) = task_groups([task("lime", why="Dry.", steps=("Slowly.",)), task("fig", why="Dry.", steps=("Slowly.",))])
    assert group.what == "Water the trees"
    assert group.lines == ("lime: 5 L", "fig: 5 L")
    assert group.why == ("Dry.",)
    assert group.told == ("lime: 5 L", "fig: 5 L")
    assert group.steps == ("Slowly.",)
    assert group.minutes == 6.0


def test_reasons_that_differ_stand_with_their_own_tree():
    (group,) = task_groups([task("lime", why="Dry."), task("fig", why="Salt.")])
    assert group.why == ()
    assert group.told == ("lime: 5 L. Dry.", "fig: 5 L. Salt.")


def test_other_days_and_what_cannot_wait_stay_apart_and_come_in_order():
    later = date(2026, 12, 26)
    groups = task_groups([task("a", due=later), task("b"), task("c", urgent=True), task("d", group="")])
    assert [[one.trees[0] for one in group.tasks] for group in groups] == [["c"], ["b"], ["d"], ["a"]]
    assert all(group.lines == () and group.what == group.tasks[0].what for group in groups)


def test_a_group_keeps_its_key_when_its_trees_change():
    first = task_groups([task("lime"), task("fig")])[0].key
    second = task_groups([task("fig"), task("peach"), task("lime")])[0].key
    assert first == second
