"""Years as people say them."""

from __future__ import annotations

import pytest

from identify.reference.years import in_words


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("1936", "1936"),
        ("1936~", "about 1936"),
        ("1936?", "perhaps 1936"),
        ("1936%", "perhaps about 1936"),
        ("194X", "1940s"),
        ("194X~", "about 1940s"),
        ("19XX", "between 1900 and 1999"),
        ("1939~/1952", "about 1939 to 1952"),
        ("1936/1957?", "1936 to perhaps 1957"),
        ("../1941", "until 1941"),
        ("../194X", "until 1940s"),
        ("1950/..", "from 1950 on"),
        ("1950/", "from 1950 to an unknown year"),
        ("/1950", "from an unknown year to 1950"),
        ("1948-05/1949-02", "May 1948 to February 1949"),
        ("1948-05-07", "7 May 1948"),
        ("1948-XX-XX", "1948"),
        ("1948-21~", "about spring 1948"),
    ],
)
def test_years_in_words(text: str, said: str) -> None:
    assert in_words(text) == said


def test_what_is_no_date_is_refused() -> None:
    with pytest.raises(ValueError, match="four digits"):
        in_words("the forties")
