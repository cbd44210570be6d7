"""The comparison of learned forecasts: split by time, and its page has a place for every table."""

from __future__ import annotations

import numpy as np

from bench.forecast_case import NIGHTS, PAGE, TEST_NIGHTS, WAYS, innsbruck, splits, table, tried, written


def test_what_is_learned_from_lies_before_what_is_foretold_and_tests_are_the_same_for_all():
    place = innsbruck()
    tests = []
    for nights in NIGHTS:
        parts = list(splits(place, nights))
        for train, test in parts:
            assert train.night.size == nights
            assert test.night.size == TEST_NIGHTS
            assert train.night.max() < test.night.min()
        tests.append(np.concatenate([test.night for _, test in parts]))
        assert np.unique(tests[-1]).size == tests[-1].size
    assert all((one == tests[0]).all() for one in tests)


def test_the_figures_of_a_table_are_those_of_the_page(monkeypatch):
    # One way that is quick; the others are made by the same function.
    for name in set(WAYS) - {"with the prior's spread", "learned"}:
        monkeypatch.delitem(WAYS, name)
    page = PAGE.read_text(encoding="utf-8")
    rows = table(tried([innsbruck()]), members=True)
    assert len(rows) == 4
    assert all(row in page for row in rows)
    assert rows[-1] in written(page, {"innsbruck": rows})
