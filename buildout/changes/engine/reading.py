"""From bytes to a build file, or to a full list of what is wrong with it.

Reading goes in steps, and each step only begins when the one before found nothing: size, text, nesting,
JSON, schema (with lengths, dates, amounts, times of day, currencies and time zones), then everything that
one part of the document says about another (``cross_checks``).
"""

from __future__ import annotations

import difflib
import json
import re
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from decimal import Decimal, InvalidOperation
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, cast

import msgspec

from buildout.changes.engine.build_file import BuildFile, Commitments, Plan
from buildout.changes.engine.cross_checks import TIME_OF_DAY, check_build, check_commitments, check_references
from buildout.changes.engine.problems import MOST_PROBLEMS, BuildFileProblems, Problem, pointer
from buildout.changes.engine.schema import shipped_schema
from buildout.units.lengths import Length, LengthError
from buildout.units.money import CURRENCIES
from buildout.units.value import from_plain

if TYPE_CHECKING:
    from jsonschema.exceptions import ValidationError
    from jsonschema.protocols import Validator

__all__ = [
    "BuildFileProblems", "Problem", "check_commitments_of", "check_plan", "load_build_file", "parse",
    "read_build_file", "schema_problems",
]  # fmt: skip

T = TypeVar("T")

MEGABYTE = 1_000_000
LARGEST = 20 * MEGABYTE
DEEPEST = 40
"""Levels of nesting; the format itself needs fewer than 12."""
LONGEST_NUMBER = 40

MOST_VALUES = 100_000
"""Values in a plan, its commitments and its earlier revisions; the demo has about 5,000."""

_STRINGS = re.compile(rb'"(?:[^"\\]++|\\.)*+"?', re.DOTALL)
_TOKENS = re.compile(_STRINGS.pattern + rb"|[\[{\]}]", re.DOTALL)
_NOT_BRACKETS = bytes(byte for byte in range(256) if byte not in b"[]{}")
_HALF_PAIR = re.compile(r"\\u[dD][89a-fA-F]")
_HALF = re.compile("[\ud800-\udfff]")
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)


# ---------------------------------------------------------------- entry points


def read_build_file(data: bytes, *, limit: int = LARGEST) -> BuildFile:
    """Read a build file from its bytes.

    Raises ``BuildFileProblems``. Pointers lead from the top of the file (``/plan/rooms/0/name``).
    ``limit`` is the most bytes taken; a longer file is refused before it is looked into.
    """
    document = parse(data, limit=limit)
    many = _many_problem(document)
    if many is not None:
        _refuse([many])
    _refuse(schema_problems(document, "BuildFile"))
    build = _typed(BuildFile, document)
    _refuse(check_build(build))
    _refuse(_earlier_problems(document))
    return build


def load_build_file(path: Path, *, limit: int = LARGEST) -> BuildFile:
    """Read a build file from disk, never more of it than ``limit`` bytes and one.

    Raises ``BuildFileProblems``, and ``OSError`` when the file itself cannot be opened.
    """
    size = path.stat().st_size
    if size > limit:
        _refuse([_too_large(size, limit)])
    with path.open("rb") as file:
        return read_build_file(file.read(limit + 1), limit=limit)


def check_plan(document: dict[str, Any]) -> Plan:
    """Check one plan as plain dicts and lists. Raises ``BuildFileProblems``; pointers lead from the plan."""
    _refuse(schema_problems(document, "Plan"))
    plan = _typed(Plan, document)
    _refuse(check_references(plan))
    return plan


def check_commitments_of(plan: Plan, document: dict[str, Any]) -> Commitments:
    """Check the facts that follow from a plan. Raises ``BuildFileProblems``; pointers lead from the commitments."""
    _refuse(schema_problems(document, "Commitments"))
    commitments = _typed(Commitments, document)
    _refuse(check_commitments(plan, commitments))
    return commitments


# ---------------------------------------------------------------- bytes to JSON


def parse(data: bytes, *, limit: int = LARGEST) -> Any:
    """Read JSON (RFC 8259) and refuse what cannot be a build file. Raises ``BuildFileProblems``."""
    if len(data) > limit:
        _refuse([_too_large(len(data), limit)])
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        message = f"The file is not UTF-8 text (line {line}, byte {error.start}). Save it again as UTF-8."
        raise BuildFileProblems([Problem(pointer="", message=message)]) from error
    if not text.strip():
        _refuse([Problem(pointer="", message="The file is empty.", example=_SMALLEST)])
    deep = _depth_problem(data)
    if deep is not None:
        _refuse([deep])
    try:
        document = json.loads(text, object_pairs_hook=_pairs, parse_constant=_constant)
    except json.JSONDecodeError as error:
        raise BuildFileProblems([_syntax(error, text)]) from error
    except _NotAllowedError as error:
        raise BuildFileProblems([Problem(pointer="", message=str(error), example=error.example)]) from error
    except ValueError as error:  # an integer of thousands of digits
        message = "A number in the file has too many digits to be a real quantity."
        raise BuildFileProblems([Problem(pointer="", message=message, example="12.50")]) from error
    if _HALF_PAIR.search(text):
        _refuse(_half_characters(document))
    return document


def _half_characters(document: Any) -> Iterator[Problem]:
    """Texts with half a surrogate pair (RFC 8259, section 8.2): no text file, page or database takes them."""
    waiting: list[tuple[list[str | int], Any]] = [([], document)]
    while waiting:
        path, value = waiting.pop()
        if isinstance(value, dict):
            if any(_HALF.search(key) for key in value):
                yield _at(path, f"A name{_inside(path)} holds half a character (\\ud800 to \\udfff). Write it again.")
            waiting += [([*path, key], inner) for key, inner in value.items() if not _HALF.search(key)]
        elif isinstance(value, list):
            waiting += [([*path, at], inner) for at, inner in enumerate(value)]
        elif isinstance(value, str) and _HALF.search(value):
            yield _at(path, f"{field_name(path)} holds half a character (\\ud800 to \\udfff). Write it again.")


_SMALLEST = '{"format": "buildout build file", "version": 1, "plan": {…}}'


class _NotAllowedError(ValueError):
    def __init__(self, message: str, example: str) -> None:
        super().__init__(message)
        self.example = example


def _too_large(size: int, limit: int) -> Problem:
    message = (
        f"The file has {_megabytes(size)} MB; a build file may have {_megabytes(limit)} MB at most. "
        "Export the build without its history, or split it into two builds."
    )
    return Problem(pointer="", message=message)


def _megabytes(size: int) -> str:
    return f"{Decimal(size) / MEGABYTE:.1f}".removesuffix(".0")


def _depth_problem(data: bytes) -> Problem | None:
    """Find nesting beyond ``DEEPEST`` by looking at brackets outside strings, without building anything."""
    if not _too_deep(data):
        return None
    depth = 0
    for token in _TOKENS.finditer(data):
        first = data[token.start()]
        if first in b"[{":
            depth += 1
            if depth > DEEPEST:
                line = data.count(b"\n", 0, token.start()) + 1
                column = token.start() - data.rfind(b"\n", 0, token.start())
                message = (
                    f"The file nests more than {DEEPEST} levels deep (line {line}, column {column}). "
                    "A build file needs fewer than 12: look for brackets that are never closed."
                )
                return Problem(pointer="", message=message)
        elif first in b"]}":
            depth -= 1
    return None


def _too_deep(data: bytes) -> bool:
    """Take away innermost pairs of brackets, a level at a time; what is left after ``DEEPEST`` times is too deep."""
    brackets = _STRINGS.sub(b"", data).translate(None, _NOT_BRACKETS)
    for _ in range(DEEPEST):
        shorter = brackets.replace(b"[]", b"").replace(b"{}", b"")
        if len(shorter) == len(brackets):
            break
        brackets = shorter
    depth = 0
    for bracket in brackets:
        depth += 1 if bracket in b"[{" else -1
        if depth > DEEPEST:
            return True
    return b"[]" in brackets or b"{}" in brackets


def _many_problem(document: Any) -> Problem | None:
    """Refuse a plan of a size no building has, before every entry of it is looked at."""
    count, waiting = 0, [document]
    while waiting:
        value = waiting.pop()
        count += 1
        if count > MOST_VALUES:
            message = (
                f"There are more than {MOST_VALUES:,} values in this file, beside its history. "
                "Split the building into several builds."
            )
            return Problem(pointer="", message=message)
        if isinstance(value, dict):
            waiting += [inner for key, inner in value.items() if value is not document or key != "history"]
        elif isinstance(value, list):
            waiting += value[: MOST_VALUES + 1]
    return None


def _pairs(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        seen: set[str] = set()
        for key, _ in pairs:
            if key in seen:
                raise _NotAllowedError(
                    f'"{_short(key)}" is given twice in the same object. Keep one of them.', '{"name": "Main hall"}'
                )
            seen.add(key)
    return made


def _constant(name: str) -> float:
    raise _NotAllowedError(f"{name} is not a number that JSON knows. Leave the field out or give a number.", "12.50")


def _syntax(error: json.JSONDecodeError, text: str) -> Problem:
    rest = text[error.pos :].strip()
    where = f"line {error.lineno}, column {error.colno}"
    if not rest or error.msg.startswith("Unterminated string"):
        message = f"The file stops in the middle ({where}): it was cut short. Copy or download it again."
    else:
        message = f"The file is not JSON: {error.msg[0].lower()}{error.msg[1:]} at {where}, near {_short(rest)!r}."
    return Problem(pointer="", message=message, example=_SMALLEST)


# ---------------------------------------------------------------- schema


@lru_cache(maxsize=4)
def _validator(definition: str) -> Validator:
    from jsonschema import Draft202012Validator, FormatChecker

    checker = FormatChecker(formats=())
    for name, check in _FORMATS.items():
        checker.checks(name, raises=ValueError)(check)
    schema = shipped_schema() | {"$ref": f"#/$defs/{definition}"}
    return Draft202012Validator(schema, format_checker=checker)


def schema_problems(document: Any, definition: str = "BuildFile") -> list[Problem]:
    """Everything the schema finds wrong, at most ``MOST_PROBLEMS`` and a count.

    ``definition`` names the part of the format that ``document`` is: ``BuildFile``, ``Plan``, ``Room`` …
    """
    found: dict[Problem, None] = {}
    more = False
    for error in _validator(definition).iter_errors(document):
        found.update(dict.fromkeys(_explain(error)))
        if len(found) > MOST_PROBLEMS:
            more = True
            break
    problems = list(found)[:MOST_PROBLEMS]
    if more:
        problems.append(Problem(pointer="", message=f"There are more: only the first {MOST_PROBLEMS} are listed."))
    return problems


def _explain(error: ValidationError) -> Iterator[Problem]:
    path: list[str | int] = list(error.absolute_path)
    kind, rule, value = str(error.validator), cast("Any", error.validator_value), cast("Any", error.instance)
    field = field_name(path)
    schema = error.schema if isinstance(error.schema, dict) else {}
    example = _example(schema)
    if kind == "anyOf":
        branches = [e for e in error.context or [] if e.schema != {"type": "null"}]
        for inner in branches:
            yield from _explain(inner)
    elif kind == "required":
        properties = schema.get("properties", {})
        for name in rule:
            if name not in value:
                yield Problem(
                    pointer=pointer(*path, name), message=f'"{name}" is missing{_inside(path)}.',
                    example=_as_field(name, _example(properties.get(name, {}), name)),
                )  # fmt: skip
    elif kind == "additionalProperties":
        known = list(schema.get("properties", {}))
        for name in value:
            if name not in known:
                near = difflib.get_close_matches(name, known, n=1)
                hint = f' Did you mean "{near[0]}"?' if near else f" Known here: {', '.join(known)}."
                yield Problem(
                    pointer=pointer(*path, name), message=f'"{_short(name)}" is not known{_inside(path)}.{hint}',
                    example=_as_field(near[0], _example(schema["properties"][near[0]], near[0])) if near else "",
                )  # fmt: skip
    elif kind == "type":
        yield _at(path, f"{field} must be {_types(rule)}, not {_found(value)}.", example)
    elif kind in ("enum", "const"):
        allowed = rule if kind == "enum" else [rule]
        near = difflib.get_close_matches(str(value), [str(a) for a in allowed], n=1)
        first = near[0] if near else str(allowed[0])
        words = ", ".join(str(a) for a in allowed)
        yield _at(path, f"{field} is {_found(value)}; it must be one of: {words}.", json.dumps(first))
    elif kind == "format":
        yield _at(path, f"{field}: {error.cause or error.message}", example)
    elif kind == "pattern":
        message = f"{field} is {_found(value)}; use letters, digits, dots, dashes and underscores, at most 60."
        yield _at(path, message, example)
    elif kind in ("minItems", "minLength"):
        thing = "character" if kind == "minLength" else ("entry" if rule == 1 else "entries")
        yield _at(path, f"{field} needs at least {rule} {thing}.", example)
    elif kind == "maxLength":
        yield _at(path, f"{field} has {len(value)} characters; {rule} is the most.", example)
    elif kind == "minimum":
        yield _at(path, f"{field} is {value}; the least is {rule}.", example or str(rule))
    elif kind == "maximum":
        yield _at(path, f"{field} is {value}; the most is {rule}.", example or str(rule))
    else:
        yield _at(path, f"{field}: {error.message}", example)


def _at(path: Sequence[str | int], message: str, example: str = "") -> Problem:
    return Problem(pointer=pointer(*path), message=message, example=example)


def field_name(path: Sequence[str | int]) -> str:
    """The field a path leads to, as a person would point at it.

    >>> field_name(["plan", "rooms", 0, "readings", 3, "value"])
    '"value"'
    >>> field_name(["plan", "rooms", 0])
    '"rooms" entry 1'
    """
    if not path:
        return "The document"
    if isinstance(path[-1], int):
        owner = field_name(path[:-1]) if len(path) > 1 else "The list"
        return f"{owner} entry {path[-1] + 1}"
    return f'"{_short(path[-1])}"'


def _inside(path: Sequence[str | int]) -> str:
    return f" in {field_name(path)}" if path else ""


_TYPE_WORDS = {
    "string": "text", "number": "a number", "integer": "a whole number", "boolean": "true or false",
    "array": "a list […]", "object": "an object {…}", "null": "null",
}  # fmt: skip


def _types(rule: str | list[str]) -> str:
    names = [rule] if isinstance(rule, str) else rule
    return " or ".join(_TYPE_WORDS[name] for name in names)


def _found(value: Any) -> str:
    if isinstance(value, dict):
        return "an object"
    if isinstance(value, list):
        return "a list"
    if value is None:
        return "null"
    return _short(json.dumps(value, ensure_ascii=False))


def _short(text: str, most: int = 60) -> str:
    line = " ".join(text.split())
    return line if len(line) <= most else line[: most - 1] + "…"


def _as_field(name: str, example: str) -> str:
    return f'"{name}": {example}' if example else ""


def _resolved(schema: dict[str, Any]) -> dict[str, Any]:
    while "$ref" in schema:
        target = shipped_schema()["$defs"][schema["$ref"].rpartition("/")[2]]
        schema = target | {k: v for k, v in schema.items() if k != "$ref"}
    return schema


def _example(schema: dict[str, Any], name: str = "") -> str:
    return json.dumps(_sample(schema, name), ensure_ascii=False) if schema else ""


def _sample(schema: dict[str, Any], name: str = "", depth: int = 0) -> Any:
    """A value that fits, made from the schema's own examples."""
    schema = _resolved(schema)
    if schema.get("examples"):
        return schema["examples"][0]
    if schema.get("default") not in (None, "", [], {}):
        return schema["default"]
    if "const" in schema:
        return schema["const"]
    if "enum" in schema:
        return schema["enum"][0]
    if "anyOf" in schema:
        return _sample(next(s for s in schema["anyOf"] if s != {"type": "null"}), name, depth)
    kind = schema.get("type")
    if kind == "array":
        return [] if depth > 1 else [_sample(schema.get("items", {}), "", depth + 1)]
    if kind == "object":
        properties = schema.get("properties", {})
        return {} if depth > 2 else {n: _sample(properties[n], n, depth + 1) for n in schema.get("required", [])}
    if schema.get("format") == "date":
        return "2027-03-20"
    if name == "name":
        return "Main hall"
    return {"string": "text", "integer": 1, "number": 1, "boolean": True}.get(str(kind))


# ---------------------------------------------------------------- formats


def _is_length(value: object) -> bool:
    if isinstance(value, str | int | float) and not isinstance(value, bool):
        Length.read(value)
    return True


def _is_amount(value: object) -> bool:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        return True
    text = str(value)
    if len(text) > LONGEST_NUMBER:
        raise ValueError("that number has too many digits.")
    try:
        number = Decimal(text)
    except InvalidOperation:
        raise ValueError(f"{_short(json.dumps(value, ensure_ascii=False))} is not a number.") from None
    if not number.is_finite():
        raise ValueError(f"{text} is not a number.")
    if number < 0:
        raise ValueError(f"{text} is below zero; it must be 0 or more.")
    if number >= 10**12:
        raise ValueError(f"{_short(text)} is too large to be a real quantity or price.")
    if int(number.as_tuple().exponent) < -LONGEST_NUMBER:
        raise ValueError(f"{_short(text)} has more places behind the point than a real quantity or price.")
    return True


def _is_date(value: object) -> bool:
    if isinstance(value, str):
        if not _DAY.fullmatch(value):
            raise ValueError(f"{_short(json.dumps(value))} is not a date written year-month-day.")
        try:
            date.fromisoformat(value)
        except ValueError:
            raise ValueError(f"{value} is not a day of the calendar.") from None
    return True


def _is_time(value: object) -> bool:
    if isinstance(value, str) and not TIME_OF_DAY.fullmatch(value):
        raise ValueError(f"{_short(json.dumps(value))} is not a time of day from 00:00 to 23:59 with two digits each.")
    return True


def _is_currency(value: object) -> bool:
    if isinstance(value, str) and value not in CURRENCIES:
        raise ValueError(f"{_short(json.dumps(value))} is not a currency code of ISO 4217 (three capital letters).")
    return True


def _is_time_zone(value: object) -> bool:
    from zoneinfo import available_timezones

    if isinstance(value, str) and value not in available_timezones():
        near = difflib.get_close_matches(value, sorted(available_timezones()), n=1)
        hint = f" Did you mean {near[0]}?" if near else ""
        raise ValueError(f"{_short(json.dumps(value))} is not a time zone of the IANA database.{hint}")
    return True


_FORMATS = {
    "length": _is_length,
    "amount": _is_amount,
    "date": _is_date,
    "time-of-day": _is_time,
    "currency": _is_currency,
    "time-zone": _is_time_zone,
}


# ---------------------------------------------------------------- to values


def _refuse(problems: Iterable[Problem]) -> None:
    listed = list(problems)
    if listed:
        raise BuildFileProblems(listed)


_PATH_STEP = re.compile(r"\.([A-Za-z_][A-Za-z0-9_]*)|\[(\d+)\]|\[\.\.\.\]")


def _typed(kind: type[T], document: Any) -> T:
    """Turn a document that fits the schema into values; what the schema cannot say still gets its pointer."""
    try:
        return from_plain(kind, document)
    except (msgspec.ValidationError, LengthError) as error:
        text, _, at = str(error).partition(" - at `$")
        parts: list[str | int] = [
            name if name else int(number or 0) for name, number in _PATH_STEP.findall(at.rstrip("`"))
        ]
        raise BuildFileProblems([_at(parts, f"{field_name(parts)}: {text}.")]) from error


def _earlier_problems(document: dict[str, Any]) -> list[Problem]:
    """Walk back through the earlier revisions: every patch (RFC 6902) must apply and leave a plan."""
    import jsonpatch

    plan = document["plan"]
    example = '[{"op": "replace", "path": "/rooms/0/readings/3/value", "value": "35\' 0 1/2\\""}]'
    for at, step in enumerate(document.get("earlier", [])):
        path = pointer("earlier", at, "patch")
        try:
            plan = jsonpatch.apply_patch(plan, step["patch"])
        except (jsonpatch.JsonPatchException, jsonpatch.JsonPointerException, TypeError) as error:
            message = f'"patch" cannot be applied to the plan of the revision after it: {error}'
            return [Problem(pointer=path, message=message, example=example)]
        try:
            check_plan(plan)
        except BuildFileProblems as error:
            first = error.problems[0]
            message = (
                f'"patch" leaves a plan that does not hold together, at {first.pointer or "the top"}: {first.message}'
            )
            return [Problem(pointer=path, message=message, example=example)]
    return []
