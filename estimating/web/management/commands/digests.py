"""Mail the week's letter of every build to its partners, once a calendar week."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from buildout.builds.web.models import Build
from estimating.web.digest import send


class Command(BaseCommand):
    help = "Mail the week's letter of every build to its partners; without mail set up, print it. For a weekly timer."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--again", action="store_true", help="also where this week's letter has gone out already")

    def handle(self, *args: Any, **options: Any) -> None:
        for build in Build.objects.select_related("current").order_by("pk"):
            told, text = send(build, again=options["again"])
            if told:
                self.stdout.write(f"{build.name}: mailed to {', '.join(told)}")
            elif text:
                self.stdout.write(text)
