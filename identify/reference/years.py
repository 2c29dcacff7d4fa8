"""Years as EDTF (ISO 8601-2:2019, levels 0 and 1 of the Extended Date/Time Format): check, span and words.

Understood: years, year-month and year-month-day, seasons (2001-21 to 2001-24), unspecified digits (194X, 19XX,
2004-XX), about and uncertain (`~`, `?`, `%` at the end), intervals with open (`..`) or unknown (empty) ends.
Not understood, though level 1 or 2 of EDTF has it: years beyond four digits, times of day, sets and lists.
"""

from __future__ import annotations

import calendar
import re
from functools import lru_cache

DATE = re.compile(r"(-?\d{4}|-?\d{3}X|-?\d{2}XX|-?\dXXX|-?XXXX)(?:-(\d\d|XX)(?:-(\d\d|XX))?)?([?~%]?)", re.ASCII)
OPEN = float("inf")
Span = tuple[float, float]
MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)
SEASONS = {21: "spring", 22: "summer", 23: "autumn", 24: "winter"}
ABOUT = {"": "", "~": "about ", "?": "perhaps ", "%": "perhaps about "}


def _date(text: str) -> Span:
    match = DATE.fullmatch(text)
    if match is None:
        raise ValueError("write a year as four digits, such as 1936, 1936~ (about), 194X (the forties)")
    year, month, day = match.group(1), match.group(2), match.group(3)
    if day and (month == "XX" and day != "XX"):
        raise ValueError("a day needs its month")
    if month and month != "XX":
        number = int(month)
        if not (1 <= number <= 12 or (21 <= number <= 24 and day is None)):
            raise ValueError(f"there is no month {month}")
        if day and day != "XX":
            leap = year.replace("X", "4")
            if not 1 <= int(day) <= calendar.monthrange(max(abs(int(leap)), 1), number)[1]:
                raise ValueError(f"there is no day {day} in month {month}")
    low, high = int(year.replace("X", "0")), int(year.replace("X", "9"))
    return (float(min(low, high)), float(max(low, high)))


@lru_cache(maxsize=4096)
def span(text: str) -> Span:
    """First and last year that an EDTF text leaves possible, infinite where it is open or unknown.

    Raises ValueError, saying what to write instead, if the text is not EDTF as understood here.
    """
    if text in ("", "..", "/", "../..", "../", "/.."):
        raise ValueError("it says no year at all: leave the key out")
    if "/" not in text:
        if text.endswith("..") or text.startswith(".."):
            raise ValueError("before and after are written ../1941 and 1941/..")
        return _date(text)
    ends = text.split("/")
    if len(ends) != 2:
        raise ValueError("a span of years has two ends, such as 1936/1957")
    first = -OPEN if ends[0] in ("", "..") else _date(ends[0])[0]
    last = OPEN if ends[1] in ("", "..") else _date(ends[1])[1]
    if first > last:
        raise ValueError("the span ends before it begins")
    return first, last


def is_about(text: str) -> bool:
    """Whether an EDTF text says that it is about or uncertain."""
    return any(mark in text for mark in "?~%")


def in_words(text: str) -> str:
    """An EDTF text as people say it: "about 1939 to 1952", "until 1941", "from 1950 on".  Raises ValueError."""
    span(text)
    if "/" not in text:
        return _date_in_words(text)
    first, last = (end if end in ("", "..") else _date_in_words(end) for end in text.split("/"))
    if first == "..":
        return f"until {last}"
    if last == "..":
        return f"from {first} on"
    if not first or not last:
        return f"from {first or 'an unknown year'} to {last or 'an unknown year'}"
    return f"{first} to {last}"


def _date_in_words(text: str) -> str:
    match = DATE.fullmatch(text)
    assert match is not None
    year, month, day, doubt = match.groups()
    if "XX" in year:
        first, last = sorted((year.replace("X", "0"), year.replace("X", "9")), key=int)
        said = f"between {first} and {last}"
    else:
        said = f"{year[:-1]}0s" if year.endswith("X") else year
    if month not in (None, "XX"):
        said = f"{SEASONS.get(int(month)) or MONTHS[int(month) - 1]} {said}"
    if day not in (None, "XX"):
        said = f"{int(day)} {said}"
    return ABOUT[doubt] + said
