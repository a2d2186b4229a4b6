"""Take a build file in as a new build."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from buildout.builds.web.models import Member, Role
from buildout.changes.engine.problems import problem_text
from buildout.changes.engine.reading import BuildFileProblems
from buildout.changes.web import transfer
from buildout.people.web.models import User


class Command(BaseCommand):
    help = "Make a new build out of a build file. A file with its tables comes in as it was; a plain one is worked out."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file")
        parser.add_argument("--owner", metavar="E-MAIL", help="account that becomes an owner of the build")

    def handle(self, *args: Any, **options: Any) -> None:
        path = Path(options["file"])
        owner = None
        if options["owner"]:
            owner = User.objects.filter(email=options["owner"].lower()).first()
            if owner is None:
                raise CommandError(f"There is no account with the e-mail {options['owner']}.")
        try:
            size = path.stat().st_size
            with path.open("rb") as file:
                # One byte more than is allowed is enough to see that it is too large.
                data = file.read(min(size, transfer.LARGEST_IMPORT) + 1)
        except OSError as error:
            raise CommandError(f"{path} cannot be read ({error.strerror}).") from error
        try:
            report = transfer.import_build(
                data,
                owner=owner,
                on_revision=lambda number, summary: self.stdout.write(f"Revision {number}: {summary}"),
                on_step=lambda number, name: self.stdout.write(f"  {name}"),
            )
        except BuildFileProblems as error:
            lines = "\n".join(problem_text(problem) for problem in error.problems)
            raise CommandError(f"{path} was not imported; nothing was written.\n{lines}") from error
        self.stdout.write(f"Build {report.build} ({report.name}): {report.revisions} revisions.")
        if not report.tables:
            self.stdout.write(
                "The file holds no tables: what was invoiced, paid, counted in line by line, asked, answered and "
                "photographed is not in it. Orders, goods that came, charges and places are."
            )
        if report.new_people:
            self.stdout.write(
                "New accounts without a password (send each a sign-in link): " + ", ".join(report.new_people)
            )
        if report.new_links:
            self.stdout.write(f"{report.new_links} links were taken by another build and are new here.")
        if report.again:
            self.stdout.write(f"{report.again} proposals will be worked out again by the worker.")
        if not Member.objects.filter(build_id=report.build, role=Role.OWNER).exists():
            self.stdout.write(
                "Nobody owns it yet, so nobody can open it: import it again with --owner and an account's e-mail."
            )
