"""``manage.py compute FILE``: the whole chain on a build file, without a database."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

NOT_COMPUTED = 2
"""Exit code when the file cannot be used; 1 when it was computed but some link says stop."""


class Command(BaseCommand):
    help = "Run the whole chain on a build file and print a summary. Needs no database."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", help="a build file (JSON)")
        parser.add_argument("--json", action="store_true", help="print every result as JSON instead")
        parser.add_argument("--today", metavar="DATE", help="work it out for this day instead, such as 2027-02-01")

    def handle(self, *args: Any, **options: Any) -> None:
        from msgspec.structs import replace

        from buildout.changes.engine.chain import run_chain
        from buildout.changes.engine.problems import BuildFileProblems, problem_text
        from buildout.changes.engine.reading import load_build_file
        from buildout.changes.engine.summary import summary
        from buildout.units.value import to_json

        path = Path(options["file"])
        today = _day(options["today"])
        try:
            build = load_build_file(path)
        except FileNotFoundError as error:
            raise CommandError(f"There is no file {path}.", returncode=NOT_COMPUTED) from error
        except OSError as error:
            raise CommandError(f"{path} cannot be read: {error.strerror}.", returncode=NOT_COMPUTED) from error
        except BuildFileProblems as error:
            listed = "\n".join(f"  {problem_text(problem)}" for problem in error.problems)
            raise CommandError(f"{path} cannot be used:\n{listed}", returncode=NOT_COMPUTED) from error
        plan = replace(build.plan, as_of=today) if today else build.plan
        show = sys.stderr.isatty() and not options["json"]

        def on_step(number: int, name: str) -> None:
            if show:
                self.stderr.write(f"{name} …")

        result = run_chain(plan, build.commitments, on_step=on_step)
        if options["json"]:
            self.stdout.write(to_json(result).decode())
        else:
            self.stdout.write(summary(plan, result), ending="")
        if any(reason.severity == "stop" for _, reason in result.reasons()):
            sys.exit(1)


def _day(text: str | None) -> date | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        message = f"--today {text!r} is not a date. Write it year-month-day, such as 2027-02-01."
        raise CommandError(message, returncode=NOT_COMPUTED) from error
