"""Write one build as an open build file."""

from __future__ import annotations

import json
import os
import sys
import tempfile
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from buildout.builds.web.models import Build
from buildout.changes.web import transfer


def known_builds() -> str:
    found = [f"{build.pk} ({build.name})" for build in Build.objects.order_by("pk")[:20]]
    return "There are: " + ", ".join(found) + "." if found else "There is no build yet."


class Command(BaseCommand):
    help = "Write one build, complete, as a build file (JSON) to the terminal or to --output."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("id", type=int, help="number of the build, as in its address")
        parser.add_argument("--output", help="file to write; it appears only once it is complete")
        parser.add_argument(
            "--no-history",
            action="store_true",
            help="plan, orders, places and earlier plans only; no names, no journal",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        build = Build.objects.filter(pk=options["id"]).first()
        if build is None:
            raise CommandError(f"There is no build {options['id']}. {known_builds()}")
        try:
            found = transfer.export_build(build, history=not options["no_history"])
        except transfer.ExportError as error:
            raise CommandError(str(error)) from error
        text = json.dumps(found, ensure_ascii=False, indent=1) + "\n"
        if not options["output"]:
            self.stdout.write(text, ending="")
            return
        write_whole(Path(options["output"]), text.encode())
        print(f"Wrote build {build.pk} ({build.name}) to {options['output']}.", file=sys.stderr)


def write_whole(path: Path, data: bytes) -> None:
    """Write a file that only its owner may read and that is never there half. Raises ``CommandError``."""
    try:
        with tempfile.NamedTemporaryFile(dir=path.parent, prefix=f".{path.name}.", delete=False) as file:
            file.write(data)
        os.replace(file.name, path)
    except OSError as error:
        raise CommandError(f"{path} cannot be written ({error.strerror}).") from error
