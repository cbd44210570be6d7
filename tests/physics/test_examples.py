"""The examples in the docstrings of the layer are true."""

import doctest
import importlib
import pkgutil

import pytest

import fruitwall.physics

MODULES = sorted(module.name for module in pkgutil.iter_modules(fruitwall.physics.__path__))


@pytest.mark.parametrize("name", MODULES)
def test_the_examples_of_a_module_give_what_they_show(name):
    outcome = doctest.testmod(importlib.import_module(f"fruitwall.physics.{name}"))
    assert outcome.failed == 0


def test_there_are_examples():
    finder = doctest.DocTestFinder()
    found = [test for name in MODULES for test in finder.find(importlib.import_module(f"fruitwall.physics.{name}"))]
    assert sum(bool(test.examples) for test in found) > 15
