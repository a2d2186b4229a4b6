"""The usual slips of reading and writing a tape, recognised from what was written and what it should have been.

The list is common practice on site, no published source.
"""

from __future__ import annotations

import itertools
import re

from buildout.units.lengths import INCH_MM, Length, LengthError, parse_length

_INCH = float(INCH_MM)
_ALIKE = ("69", "17", "38", "58")
"""Figures taken for each other on a tape or in a hand."""
_COUNT = {1: "one", 2: "two", 3: "three", 4: "four", 5: "five", 6: "six", 7: "seven", 8: "eight", 9: "nine", 10: "ten"}


def find_slip(written: Length, better: float, within: float) -> str:
    """The usual slip that leads from the better value (mm) to what was written; empty when none does.

    ``within`` is how far from the better value a slip may land, mm. The text follows on from a sentence.

    >>> find_slip(Length.read("14' 7\\""), 17 * 304.8 + 4 * 25.4, 6.0)
    ', as if two digits had changed places'
    >>> find_slip(Length.read("36' 2\\""), 39 * 304.8 + 2 * 25.4, 6.0)
    ', as if a 9 had been read as a 6'
    """
    value = float(written.mm)
    long = value - better
    for by in _swapped(written.text):
        if abs(by - better) <= within:
            return ", as if two digits had changed places"
    for was, now, by in _misread(written.text):
        if abs(by - better) <= within and {was, now} == {"6", "9"}:
            return f", as if a {now} had been read as a {was}"
    feet = round(abs(long) / (12 * _INCH))
    if 1 <= feet <= 10 and abs(abs(long) - feet * 12 * _INCH) <= within:
        return f": a {_COUNT[feet]}-foot slip of the tape"
    for was, now, by in _misread(written.text):
        if abs(by - better) <= within:
            return f", as if a {now} had been read as a {was}"
    if abs(long - _INCH) <= min(within, _INCH / 4):
        return ": measured from the 1 in mark without taking it off"
    ratio = _other_side(value, better, within)
    if ratio:
        return ratio
    tenths = re.fullmatch(r"\s*([0-9]+)\s*(?:'|ft)\s*([0-9]+)\s*(?:\"|in)\s*", written.text)
    if tenths and len(tenths[2]) == 1 and abs((int(tenths[1]) + int(tenths[2]) / 10) * 12 * _INCH - better) <= within:
        return ", as if tenths of a foot had been written as inches"
    if 2.75 * _INCH <= abs(long) <= 4.25 * _INCH:
        return ", about the length of a tape's case"
    inches = round(abs(long) / _INCH)
    if 1 <= inches <= 11 and abs(abs(long) - inches * _INCH) <= min(within, _INCH / 8):
        return (
            f": {_COUNT.get(inches, 'eleven')} whole inch{'es' if inches > 1 else ''} off, as if beside the wrong mark"
        )
    return ""


def _other_side(value: float, better: float, within: float) -> str:
    for factor, text in (
        (2.54, "the wrong side of an inch and centimetre tape had been read"),
        (3.048, "the wrong side of a foot and metre tape had been read"),
        (0.3048, "the wrong side of a foot and metre tape had been read"),
        (10.0, "centimetres and millimetres had been mixed up"),
        (12.0, "feet and inches had been mixed up"),
    ):
        for ratio in (factor, 1 / factor):
            if abs(value - better * ratio) <= max(ratio, 1.0) * within:
                return f", as if {text}"
    return ""


def _changed(text: str, changes: dict[int, str]) -> float | None:
    letters = [changes.get(k, c) for k, c in enumerate(text)]
    try:
        return float(parse_length("".join(letters)))
    except LengthError:
        return None


def _swapped(text: str) -> list[float]:
    """Values of a written length with two of its digits changed round."""
    places = [k for k, c in enumerate(text) if c.isdigit()]
    found = [
        _changed(text, {a: text[b], b: text[a]}) for a, b in itertools.combinations(places, 2) if text[a] != text[b]
    ]
    return [value for value in found if value is not None]


def _misread(text: str) -> list[tuple[str, str, float]]:
    """(written, meant, value) of a written length with one digit taken for another it looks like."""
    found = []
    for k, c in enumerate(text):
        for pair in _ALIKE:
            if c in pair:
                other = pair[1 - pair.index(c)]
                value = _changed(text, {k: other})
                if value is not None:
                    found.append((c, other, value))
    return found
