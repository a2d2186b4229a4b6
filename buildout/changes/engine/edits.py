"""What an edit changed in a plan, and how to carry it over to a plan that somebody else changed meanwhile.

Lists of things with a name of their own (readings, quotes, build days …) are compared by that name,
not by position, so inserting one reading does not look like changing all that follow.
"""

from __future__ import annotations

import copy
from typing import Any

from buildout.units.value import Value

NAMES = ("id", "item", "code", "head", "date", "room", "task")
"""Fields that name an entry within its list, the first present in every entry wins."""

Path = tuple[str, ...]
_MISSING = object()


class Edit(Value, kw_only=True):
    """One place in a plan where two versions differ."""

    path: list[str]
    label: str
    kind: str
    """added, removed or changed."""
    old: Any = None
    new: Any = None


class Conflict(ValueError):
    """Edits that cannot be carried over because the same places were changed underneath."""

    def __init__(self, labels: list[str]) -> None:
        super().__init__(", ".join(labels))
        self.labels = labels


def _name_field(entries: list[Any]) -> str | None:
    if not entries or not all(isinstance(entry, dict) for entry in entries):
        return None
    for field in NAMES:
        if all(field in entry for entry in entries):
            names = [str(entry[field]) for entry in entries]
            if len(set(names)) == len(names):
                return field
    return None


def _children(value: Any, other: Any) -> dict[str, Any] | None:
    """The named parts of a value, or None where it is compared whole."""
    if isinstance(value, dict):
        return dict(value)
    if isinstance(value, list):
        field = _name_field(value + (other if isinstance(other, list) else [])) if not other else None
        field = field or _name_field(value)
        if field is not None:
            return {str(entry[field]): entry for entry in value}
    return None


def edits_between(before: Any, after: Any, path: Path = ()) -> list[Edit]:
    """Every place where ``after`` differs from ``before``, in the order of ``before``.

    >>> [e.label for e in edits_between({"a": [{"id": "x", "v": 1}]}, {"a": [{"id": "x", "v": 2}]})]
    ['a › x › v']
    """
    if before == after:
        return []
    parts, other = _children(before, after), _children(after, before)
    if parts is None or other is None or (isinstance(before, list) != isinstance(after, list)):
        return [_edit(path, "changed", before, after)]
    found: list[Edit] = []
    for name, value in parts.items():
        if name not in other:
            found.append(_edit((*path, name), "removed", value, None))
        else:
            found += edits_between(value, other[name], (*path, name))
    found += [_edit((*path, name), "added", None, value) for name, value in other.items() if name not in parts]
    if not found:
        return [_edit(path, "changed", before, after)]  # only the order of a list differs
    return found


def _edit(path: Path, kind: str, old: Any, new: Any) -> Edit:
    label = " › ".join(part.replace("_", " ") for part in path) or "the whole plan"
    return Edit(path=list(path), label=label, kind=kind, old=old, new=new)


def _find(document: Any, path: list[str]) -> tuple[Any, Any]:
    """(container, key) of a path; key is a position for lists, None-container when it is gone."""
    container: Any = None
    key: Any = None
    value = document
    for part in path:
        container = value
        if isinstance(value, dict):
            key = part
            value = value.get(part, _MISSING)
        elif isinstance(value, list):
            field = _name_field(value)
            key = next((i for i, entry in enumerate(value) if field and str(entry[field]) == part), None)
            value = value[key] if key is not None else _MISSING
        else:
            return None, None
        if value is _MISSING and part is not path[-1]:
            return None, None
    return container, key


def carry_over(base: Any, edited: Any, current: Any) -> Any:
    """``current`` with the edits that lead from ``base`` to ``edited``.

    Raises ``Conflict`` naming every place that was also changed, to something else, in ``current``.
    """
    result = copy.deepcopy(current)
    conflicts: list[str] = []
    for edit in edits_between(base, edited):
        container, key = _find(result, edit.path)
        if container is None:
            conflicts.append(edit.label)
            continue
        if isinstance(container, list):
            now = container[key] if key is not None else None
        else:
            now = container.get(key)
        if now == edit.new and edit.kind != "removed":
            continue
        if now != edit.old:
            conflicts.append(edit.label)
            continue
        if edit.kind == "removed":
            if key is not None and (isinstance(container, list) or key in container):
                del container[key]
        elif isinstance(container, list):
            if key is None:
                container.append(copy.deepcopy(edit.new))
            else:
                container[key] = copy.deepcopy(edit.new)
        else:
            container[key] = copy.deepcopy(edit.new)
    if conflicts:
        raise Conflict(conflicts)
    return result
