"""What is wrong with a build file, said at the place where it is wrong."""

from __future__ import annotations

from collections.abc import Iterable

from buildout.units.value import Value

MOST_PROBLEMS = 200
"""More than this are counted, not listed."""


class Problem(Value, kw_only=True):
    """One thing to put right.

    ``pointer`` is a JSON Pointer (RFC 6901) from the top of the document that was read, so a form can
    show the message beside the field it came from; empty means the document as a whole.
    """

    pointer: str
    message: str
    example: str = ""


class BuildFileProblems(ValueError):
    """A document that cannot be used as it stands; ``problems`` says why."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = list(problems)
        super().__init__("\n".join(problem_text(problem) for problem in self.problems))


def problem_text(problem: Problem) -> str:
    """One problem as a line of text.

    >>> problem_text(Problem(pointer="/plan/name", message='"name" is missing.', example="North hall"))
    '/plan/name: "name" is missing. Example: North hall'
    """
    where = f"{problem.pointer}: " if problem.pointer else ""
    example = f" Example: {problem.example}" if problem.example else ""
    return f"{where}{problem.message}{example}"


def pointer(*parts: str | int) -> str:
    """A JSON Pointer (RFC 6901, section 3): ``~`` is written ``~0`` and ``/`` is written ``~1``.

    >>> pointer("plan", "rooms", 0, "a/b")
    '/plan/rooms/0/a~1b'
    >>> pointer()
    ''
    """
    return "".join("/" + str(part).replace("~", "~0").replace("/", "~1") for part in parts)
