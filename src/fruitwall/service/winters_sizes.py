"""A yard as it will stand in some years, if nothing befalls it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fruitwall.yard.plan import tree_age_years

if TYPE_CHECKING:
    from datetime import date

    from fruitwall.plants.catalogue import Taxon
    from fruitwall.yard.model import Tree, Yard

LEAFLESS = ("dormant",)


def grown_yard(yard: Yard, kinds: dict[str, Taxon], years: float, today: date) -> Yard:
    """Give a yard whose trees have grown on.

    Parameters
    ----------
    yard : Yard
    kinds : dict of tree to Taxon
    years : float
        From now. [years]
    today : date

    Returns
    -------
    Yard
        Trees at their size of then, deciduous ones at rest; everything else, also every container, as it is. At 0 years
        trees have their own size.
    """
    return yard.model_copy(update={"trees": [_grown(tree, kinds[tree.id], years, today) for tree in yard.trees]})


def _grown(tree: Tree, kind: Taxon, years: float, today: date) -> Tree:
    from fruitwall.plants.stature import grown

    update: dict[str, object] = {"hurt_grade": 0}
    if kind.leaf_habit == "deciduous":
        update["stages"] = list(LEAFLESS)
    if years > 0.0:
        age = tree_age_years(tree, today)
        then = grown(
            tree.height_m,
            tree.crown_diameter_m,
            age,
            kind,
            years,
            potted=tree.container is not None,
            volume_l=tree.container.volume_l if tree.container is not None else None,
        )
        update |= {"height_m": then.height_m, "crown_diameter_m": then.crown_diameter_m}
        if age is not None:
            update |= {"age_years": age + years, "planted": None}
    return tree.model_copy(update=update)
