"""Values as we write them against TOML 1.0 as Python's tomllib reads it: every character that a string may hold, and
the kinds of keys and numbers of the specification's examples (quoted from memory)."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from identify.reference.write import toml_value


def through(value: Any) -> Any:
    return tomllib.loads(f"x = {toml_value(value)}")["x"]


@given(st.text(st.characters(exclude_categories=["Cs"])))
def test_any_text_comes_back(text: str) -> None:
    assert through(text) == text


@pytest.mark.parametrize(
    "value",
    [
        'I\'m a string. "You can quote me". Name\tJos\u00e9\nLocation\tSF.',
        r"C:\Users\nodejs\templates",
        [1, 2, 3],
        [[1, 2], ["a", "b", "c"]],
        {"x": 1, "y": {"z": True}},
        {"127.0.0.1": "value", "character encoding": "value", "ʎǝʞ": "value", "": "blank"},
        [0.0, -2.0, 63.5, 1e-4, 6626.0],
        [],
    ],
)
def test_values_come_back(value: Any) -> None:
    assert through(value) == value


def test_there_is_no_minus_zero_and_no_long_tail() -> None:
    assert toml_value(-0.0) == "0.0" and toml_value(0.1 + 0.2) == "0.3"
