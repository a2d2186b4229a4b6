"""Put a backup in place of the database."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from buildout.changes.web import archive, serving


class Command(BaseCommand):
    help = "Put a backup in place of everything in the database. Stop the site and its worker first."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", help="a file written by the backup command")
        parser.add_argument("--replace", action="store_true", help="give up what is in the database now")

    def handle(self, *args: Any, **options: Any) -> None:
        serving.prepare_database()
        path = Path(options["file"])
        try:
            manifest = archive.restore(path, replace=options["replace"])
        except archive.ArchiveError as error:
            raise CommandError(str(error)) from error
        rows = sum(table.rows for table in manifest.tables.values())
        self.stdout.write(f"Restored {rows} rows of {len(manifest.tables)} tables, as saved on {manifest.made}.")
