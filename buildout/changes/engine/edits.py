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


class Edit(Value, kw_only=True):
    """One place in a plan where two versions differ."""

    path: list[str]
    label: str
    kind: str
    """added, removed or changed."""
    old: Any = None
    new: Any = None


class ConflictError(ValueError):
    """Edits that cannot be carried over because the same places were changed underneath."""

    def __init__(self, labels: list[str]) -> None:
        super().__init__(", ".join(labels))
        self.labels = labels


def _name_field(*lists: list[Any]) -> str | None:
    """The field that names every entry of every list, uniquely within each; None when there is none."""
    entries = [entry for entries in lists for entry in entries]
    if not entries or not all(isinstance(entry, dict) for entry in entries):
        return None
    for field in NAMES:
        if all(field in entry for entry in entries):
            names = [[str(entry[field]) for entry in one] for one in lists]
            if all(len(set(one)) == len(one) for one in names):
                return field
    return None


def _parts(before: Any, after: Any) -> tuple[dict[str, Any], dict[str, Any]] | None:
    """The named parts of two values to compare one by one, or None where they are compared whole."""
    if isinstance(before, dict) and isinstance(after, dict):
        return before, after
    if isinstance(before, list) and isinstance(after, list):
        field = _name_field(before, after)
        if field is not None:
            return {str(e[field]): e for e in before}, {str(e[field]): e for e in after}
    return None


def edits_between(before: Any, after: Any, path: Path = ()) -> list[Edit]:
    """Every place where ``after`` differs from ``before``, in the order of ``before``.

    >>> [e.label for e in edits_between({"a": [{"id": "x", "v": 1}]}, {"a": [{"id": "x", "v": 2}]})]
    ['a › x › v']
    """
    if before == after:
        return []
    parts = _parts(before, after)
    if parts is None:
        return [_edit(path, "changed", before, after)]
    old, new = parts
    found: list[Edit] = []
    for name, value in old.items():
        if name not in new:
            found.append(_edit((*path, name), "removed", value, None))
        else:
            found += edits_between(value, new[name], (*path, name))
    found += [_edit((*path, name), "added", None, value) for name, value in new.items() if name not in old]
    if not found:
        return [_edit(path, "changed", before, after)]  # only the order of a list differs
    return found


def _edit(path: Path, kind: str, old: Any, new: Any) -> Edit:
    label = " › ".join(part.replace("_", " ") for part in path) or "the whole plan"
    return Edit(path=list(path), label=label, kind=kind, old=old, new=new)


def _find(document: Any, path: list[str]) -> tuple[Any, Any]:
    """(container, key) of a path. The key is a position in lists, None for an entry that is not there;
    the container is None when the way to it is gone."""
    container: Any = document
    for part in path[:-1]:
        key = _key(container, part)
        if key is None:
            return None, None
        container = container[key]
    if not isinstance(container, dict | list):
        return None, None
    return container, path[-1] if isinstance(container, dict) else _key(container, path[-1])


def _key(container: Any, part: str) -> Any:
    if isinstance(container, dict):
        return part if part in container else None
    if isinstance(container, list):
        field = _name_field(container)
        return next((i for i, entry in enumerate(container) if field and str(entry[field]) == part), None)
    return None


def carry_over(base: Any, edited: Any, current: Any) -> Any:
    """``current`` with the edits that lead from ``base`` to ``edited``.

    Raises ``ConflictError`` naming every place that was also changed, to something else, in ``current``.

    >>> carry_over({"a": 1, "b": 1}, {"a": 2, "b": 1}, {"a": 1, "b": 5})
    {'a': 2, 'b': 5}
    """
    result = copy.deepcopy(current)
    conflicts: list[str] = []
    for edit in edits_between(base, edited):
        if not edit.path:
            conflicts.append(edit.label)
            continue
        container, key = _find(result, edit.path)
        if container is None:
            conflicts.append(edit.label)
            continue
        there = key is not None and (isinstance(container, list) or key in container)
        now = container[key] if there else None
        if now == edit.new:
            continue
        if now != edit.old:
            conflicts.append(edit.label)
        elif edit.kind == "removed":
            del container[key]
        elif isinstance(container, list) and not there:
            container.append(copy.deepcopy(edit.new))
        else:
            container[key] = copy.deepcopy(edit.new)
    if conflicts:
        raise ConflictError(conflicts)
    return result
