"""A household asks for the raster: kept part by part, stopped and resumed, and none without winters."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fruitwall.journal.opening import open_journal
from fruitwall.plans.placing.raster import Wanted
from fruitwall.service import placing_ground as ground
from fruitwall.service.house import House
from fruitwall.service.placing_cells import cells_a_part
from fruitwall.service.placing_ground import placing_ground
from fruitwall.service.work import Progress, Stopped
from tests.service.many_winters import COLDEST_C, winters_file, winters_house
from tests.service.past import house_with_past

__all__ = ["winters_file", "winters_house"]

LEMON = Wanted("Citrus limon")


def test_stopped_and_asked_again_it_goes_on(winters_house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ground, "CELLS_A_PART", 2)
    told: list[Progress] = []
    with pytest.raises(Stopped):
        placing_ground(winters_house, [LEMON], cell_m=9.0, heard=told.append, stop=lambda: len(told) >= 1)
    made: list[int] = []
    plain = ground._Placing.cells

    def counted(self: ground._Placing, x_m: np.ndarray, y_m: np.ndarray) -> dict:
        made.append(x_m.size)
        return plain(self, x_m, y_m)

    monkeypatch.setattr(ground._Placing, "cells", counted)
    raster = placing_ground(winters_house, [LEMON], cell_m=9.0, heard=told.append)
    assert raster is not None
    assert 0 < sum(made) == raster.standable.sum() - 2  # the first part was kept
    assert told[-1].share == pytest.approx(1.0)
    assert len(raster.winters) == len(COLDEST_C)
    assert raster.weights.sum() == pytest.approx(1.0)
    known = raster.standable
    assert np.isfinite(raster.scorch[0, known]).all()
    assert not any("summer" in note for note in raster.notes)
    # The coldest winter that is known is the one that takes most.
    coldest = np.argmin(raster.coldest_c[np.flatnonzero(known)[0]])
    assert raster.loss[0, known].mean(axis=0).argmax() == coldest
    assert placing_ground(winters_house, [LEMON], cell_m=9.0) is raster


def test_parts_of_many_kinds_have_fewer_cells() -> None:
    assert [cells_a_part(kinds, 250) for kinds in (1, 10, 20, 1000)] == [250, 250, 125, 40]
    assert cells_a_part(1000, 2) == 2


def test_without_winters_there_is_none(tmp_path: Path) -> None:
    with open_journal(tmp_path / "a.db") as journal:
        assert placing_ground(house_with_past(journal, tmp_path), [LEMON]) is None
