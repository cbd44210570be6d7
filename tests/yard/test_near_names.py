import pytest
from hypothesis import given
from hypothesis import strategies as st

from fruitwall.yard.near_names import did_you_mean, folded, near_names

KNOWN = ["mango", "Litchi chinensis", "lychee", "Annona × atemoya", "plátano", "white sapote", "lemon", "Mexican lime"]


@pytest.mark.parametrize(
    ("word", "nearest"),
    [
        ("mnago", "mango"),
        ("lichi", "Litchi chinensis"),
        ("LYCHEES", "lychee"),
        ("atemoya", "Annona × atemoya"),
        ("platano", "plátano"),
        ("white-sapota", "white sapote"),
        ("lime", "Mexican lime"),
    ],
)
def test_a_misspelled_name_finds_the_one_that_was_meant(word, nearest):
    assert near_names(word, KNOWN)[0] == nearest


def test_a_strange_word_finds_nothing():
    assert near_names("xyzzy", KNOWN) == []
    assert near_names("  ", KNOWN) == []
    assert did_you_mean("xyzzy", KNOWN) == ""


def test_at_most_n_names_are_offered():
    assert len(near_names("a", [f"a{i}" for i in range(9)], 2, at_least=0.1)) == 2
    assert near_names("mango", KNOWN, 0) == []
    with pytest.raises(ValueError, match="n must be 0 or more, got -1"):
        near_names("mango", KNOWN, -1)
    with pytest.raises(ValueError, match="at_least must be from 0 to 1, got 2"):
        near_names("mango", KNOWN, at_least=2)


@given(st.lists(st.text(max_size=12), max_size=8), st.text(max_size=12))
def test_every_known_name_is_nearest_to_itself(known, word):
    near = near_names(word, [*known, word])
    assert not folded(word) or folded(near[0]) == folded(word)
    assert len(near) == len(set(near)) <= 3
