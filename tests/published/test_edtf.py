"""Dates against the Extended Date/Time Format Specification (Library of Congress, 2019; ISO 8601-2:2019): its examples
of levels 0 and 1 and some of what it does not allow (quoted from memory)."""

from __future__ import annotations

import math

import pytest

from identify.reference.years import is_about, span

OPEN = math.inf


@pytest.mark.parametrize(
    ("text", "first", "last"),
    [
        # level 0
        ("1985-04-12", 1985, 1985),
        ("1985-04", 1985, 1985),
        ("1985", 1985, 1985),
        ("1964/2008", 1964, 2008),
        ("2004-06/2006-08", 2004, 2006),
        ("2004-02-01/2005-02-08", 2004, 2005),
        ("2004-02-01/2005-02", 2004, 2005),
        ("2005/2006-02", 2005, 2006),
        # level 1: seasons
        ("2001-21", 2001, 2001),
        # level 1: qualification of a date
        ("1984?", 1984, 1984),
        ("2004-06~", 2004, 2004),
        ("2004-06-11%", 2004, 2004),
        # level 1: unspecified digits from the right
        ("201X", 2010, 2019),
        ("20XX", 2000, 2099),
        ("2004-XX", 2004, 2004),
        ("1985-04-XX", 1985, 1985),
        ("1985-XX-XX", 1985, 1985),
        # level 1: extended intervals, open and unknown ends
        ("1985-04-12/..", 1985, OPEN),
        ("1985-04/..", 1985, OPEN),
        ("1985/..", 1985, OPEN),
        ("../1985-04-12", -OPEN, 1985),
        ("../1985", -OPEN, 1985),
        ("1985/", 1985, OPEN),
        ("/1985", -OPEN, 1985),
        ("1984~/2004-06", 1984, 2004),
        ("1984/2004-06~", 1984, 2004),
        ("1984?/2004%", 1984, 2004),
        # level 1: negative calendar year
        ("-1985", -1985, -1985),
        # of the format's own description
        ("1936~/1957", 1936, 1957),
        ("../1941", -OPEN, 1941),
    ],
)
def test_examples(text: str, first: float, last: float) -> None:
    assert span(text) == (first, last)


@pytest.mark.parametrize(
    "text",
    [
        *("", "..", "../..", "/", "c. 1936", "1936-1957", "1940s", "156u", "unknown", "36", "193", "19360", "1936-13"),
        *(
            "1936-00",
            "2001-25",
            "1985-04-31",
            "1985-02-29",
            "1985-XX-04",
            "1957/1936",
            "1936/1940/1957",
            "1936..",
            "..1941",
        ),
        *("1936 /1957", "~1936", "1936~?", "1X36", "１９３６"),
    ],
)
def test_what_is_no_date(text: str) -> None:
    with pytest.raises(ValueError, match=r"[a-z]"):
        span(text)


def test_leap_years() -> None:
    assert span("2000-02-29") == span("2000") and span("1904-02-29") == span("1904")
    with pytest.raises(ValueError, match="no day 29"):
        span("1900-02-29")


def test_about() -> None:
    assert is_about("1936~/1957") and is_about("1936?") and not is_about("1936/1957")
