"""Every checked function of the layer refuses what lies just outside its declared ranges, and says what and why."""

import importlib
import inspect
import pkgutil
import typing

import numpy as np
import pytest

import fruitwall.physics
from fruitwall.physics.checked import CHECKED, RANGES, Range, check_range, checked

for _module in pkgutil.iter_modules(fruitwall.physics.__path__):
    importlib.import_module(f"fruitwall.physics.{_module.name}")

NOON = np.datetime64("2026-12-22T20:00:00")

FILLERS = {
    "time_utc": NOON,
    "light": (100.0, 50.0),
    "formula": "brutsaert",
    "time_zone": "UTC",
    "table": np.ones((72, 18)),
}


def _middle(allowed):
    """A value well inside a range."""
    if np.isinf(allowed.high):
        return allowed.low + 1.0
    return 0.5 * (allowed.low + allowed.high)


def _arguments(function):
    """Harmless arguments for a function, by its declared ranges."""
    values = {}
    for name, parameter in inspect.signature(function).parameters.items():
        if name in CHECKED[function]:
            values[name] = _middle(CHECKED[function][name])
        elif name in FILLERS:
            values[name] = FILLERS[name]
        elif parameter.default is not inspect.Parameter.empty:
            values[name] = parameter.default
    return values


CASES = [
    pytest.param(function, name, value, id=f"{function.__module__.split('.')[-1]}.{function.__name__}-{name}-{value:g}")
    for function, ranges in CHECKED.items()
    for name, allowed in ranges.items()
    for value in allowed.just_outside()
    if np.isfinite(value) or allowed.high_open
]


@pytest.mark.parametrize(("function", "name", "value"), CASES)
def test_a_value_just_outside_is_refused_by_name_range_and_value(function, name, value):
    allowed = CHECKED[function][name]
    with pytest.raises(ValueError, match=f"^{name} must be ") as refusal:
        function(**{**_arguments(function), name: value})
    assert allowed.words() in str(refusal.value)
    assert repr(float(value)) in str(refusal.value)


@pytest.mark.parametrize("function", CHECKED, ids=lambda function: f"{function.__module__}.{function.__name__}")
def test_words_for_numbers_are_refused_as_numbers(function):
    for name in CHECKED[function]:
        with pytest.raises(ValueError, match=f"^{name} must be a number .*got 'cold'"):
            function(**{**_arguments(function), name: "cold"})


def test_the_first_bad_value_of_an_array_is_shown():
    with pytest.raises(ValueError, match=r"^cloud must be at least 0 and at most 1, got 1\.5$"):
        check_range("cloud", [0.2, np.nan, 1.5, 7.0], RANGES["cloud"])


def test_infinity_is_refused_unless_the_range_holds_it():
    with pytest.raises(ValueError, match="got inf"):
        check_range("wind_m_s", np.inf, RANGES["wind_m_s"])
    check_range("length_m", np.inf, Range(0.0, np.inf, "m", low_open=True))


def test_a_function_with_an_undeclared_number_does_not_import():
    def weight(mass_kg: "float") -> "float":
        return mass_kg

    with pytest.raises(TypeError, match=r"weight: no range for \['mass_kg'\]"):
        checked()(weight)


def test_a_range_without_its_parameter_does_not_import():
    def nothing() -> "float":
        return 0.0

    with pytest.raises(TypeError, match=r"no range for \[\], no parameter for \['t_c'\]"):
        checked(t_c=RANGES["t_c"])(nothing)


def test_there_are_checked_functions_to_test():
    assert len(CASES) > 100
    assert {"air", "sky", "sun", "shape", "cooling", "shelter"} <= {f.__module__.rsplit(".", 1)[1] for f in CHECKED}


def test_checked_functions_keep_their_signature_and_text():
    for function in CHECKED:
        assert typing.get_type_hints(function), function
        assert function.__doc__, function
