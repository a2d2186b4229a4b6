"""Run the site with its background worker, for an installation of one's own."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from buildout.changes.web import serving
from buildout.people.web.models import any_account
from buildout.people.web.tokens import setup_token


class Command(BaseCommand):
    help = "Bring the database up to date, then serve the site with its background worker until Ctrl-C."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--host", default="127.0.0.1", help="address to listen on (default 127.0.0.1)")
        parser.add_argument("--port", type=int, default=8000, help="port to listen on (default 8000)")
        parser.add_argument("--processes", type=int, default=2, help="web processes (default 2)")

    def handle(self, *args: Any, **options: Any) -> None:
        host, port = options["host"], options["port"]
        serving.refuse_taken_port(host, port, "serve")
        serving.prepare_database()
        note = serving.documents_note()
        if note:
            self.stdout.write(note)

        def started() -> None:
            where = serving.address(host, port)
            if not any_account():
                self.stdout.write(f"Nobody has an account here yet. Make the owner's at {where}/first-account/")
                self.stdout.write(f"It asks for this token: {setup_token()}")
            self.stdout.write(f"Serving {where} {serving.manner()}")
            self.stdout.flush()

        serving.serve(host, port, processes=options["processes"], say=self.stdout.write, started=started)
