"""Save the whole database in one file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from buildout.changes.web import archive


class Command(BaseCommand):
    help = "Save the whole database in one file. It holds names and contacts: keep it where only you can read it."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", help="file to write, such as buildout-backup.zip")
        parser.add_argument("--overwrite", action="store_true", help="replace the file when it is there")

    def handle(self, *args: Any, **options: Any) -> None:
        path = Path(options["file"])
        if path.exists() and not options["overwrite"]:
            raise CommandError(f"{path} is there already. Choose another name, or add --overwrite.")
        try:
            manifest = archive.backup(path)
        except archive.ArchiveError as error:
            raise CommandError(str(error)) from error
        rows = sum(table.rows for table in manifest.tables.values())
        self.stdout.write(f"Saved {rows} rows of {len(manifest.tables)} tables in {path}.")
