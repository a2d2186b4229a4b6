"""Frozen values: what every link of the chain takes and gives back."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from decimal import Decimal
from functools import lru_cache
from typing import Any, Literal, TypeVar, dataclass_transform

import msgspec

from buildout.units.lengths import Length

T = TypeVar("T")

Status = Literal["proven", "feasible", "infeasible", "underdetermined", "empty"]
"""How far a result can be relied on.

proven: optimal, or exactly determined and checked; feasible: usable, but not shown to be the best;
infeasible: no answer exists for these inputs; underdetermined: the inputs do not fix one answer;
empty: there was nothing to do (no room, no demand), which is not the same as failing.
"""

Severity = Literal["note", "warning", "stop"]


@dataclass_transform(frozen_default=True, kw_only_default=True, field_specifiers=(msgspec.field,))
class Value(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Base of all inputs and results: immutable, compared by content, unknown fields refused."""


class Reason(Value, kw_only=True):
    """One thing a person should know about a result, and what can be done about it.

    ``where`` names the thing it is about (a reading, a wall, an item, a day, or a JSON pointer).
    ``todo`` is the next step in plain words; it may be empty only for notes. ``about``: what ``where`` stood for when
    this was said, where a name alone could mislead because something else may bear it by now.
    """

    code: str
    text: str
    where: str = ""
    severity: Severity = "note"
    todo: str = ""
    about: str = ""


def _as_written(value: Any) -> Any:
    if isinstance(value, Length):
        return value.text
    raise NotImplementedError(f"cannot write {type(value).__name__}")


def _as_millimetres(value: Any) -> Any:
    if isinstance(value, Length):
        return str(value.mm)
    raise NotImplementedError(f"cannot write {type(value).__name__}")


def _from_written(kind: type, value: Any) -> Any:
    if kind is Length:
        return Length.read(value)
    raise NotImplementedError(f"cannot read {kind!r}")


_writer = msgspec.json.Encoder(enc_hook=_as_written, order="sorted", decimal_format="string")
_hasher = msgspec.json.Encoder(enc_hook=_as_millimetres, order="sorted", decimal_format="string")


def to_json(value: Any) -> bytes:
    """Write a value as JSON, keys sorted, lengths as they were typed.

    >>> to_json(Reason(code="x", text="Nothing to do"))
    b'{"about":"","code":"x","severity":"note","text":"Nothing to do","todo":"","where":""}'
    """
    return _writer.encode(value)


def to_plain(value: Any) -> Any:
    """Turn a value into what JSON would read back: dicts, lists, strings and numbers, lengths as they were typed.

    By way of JSON, for a pair that stayed a tuple would not be a list of the schema.
    """
    return msgspec.json.decode(to_json(value))


def from_json(kind: type[T], data: bytes | str) -> T:
    """Read a value from JSON. Raises ``msgspec.ValidationError`` naming the path that does not fit."""
    return msgspec.json.decode(data, type=kind, dec_hook=_from_written)


def from_plain(kind: type[T], data: Any) -> T:
    """Read a value from dicts and lists. Raises ``msgspec.ValidationError`` naming the path."""
    return msgspec.convert(data, type=kind, dec_hook=_from_written)


def content_hash(link: str, version: int, *inputs: Any) -> str:
    """SHA-256 over a link's name, version and inputs, as 64 hex digits.

    Lengths count by their millimetres, so rewriting ``12'`` as ``12 ft`` changes nothing.
    Bump ``version`` when a link's code gives other results for the same inputs.
    """
    digest = hashlib.sha256(f"{link}/{version}".encode())
    for value in inputs:
        digest.update(b"\0")
        digest.update(_hasher.encode(value))
    return digest.hexdigest()


def snap(value: float | Decimal, step: float = 0.01) -> float:
    """Round to a grid (0.01 mm unless said) so results read the same on any machine.

    >>> snap(12.3456)
    12.35
    """
    snapped = round(round(float(value) / step) * step, _places(step))
    return snapped + 0.0  # turns -0.0 into 0.0


@lru_cache(maxsize=32)
def _places(step: float) -> int:
    """Decimal places of a grid."""
    return max(0, len(f"{step:.10f}".rstrip("0").split(".")[1]))


Progress = Callable[[str], None]
