"""Try it out: the demo build, sign-in links for everybody in it, the site and its worker."""

from __future__ import annotations

import sys
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.urls import reverse

from buildout.builds.web.models import Build
from buildout.changes.web import serving
from scheduling.web.models import ShareLink


class Command(BaseCommand):
    help = "Bring the database up to date, load the demo build once, print sign-in links, serve until Ctrl-C."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--port", type=int, default=8000, help="port on 127.0.0.1 (default 8000)")
        parser.add_argument("--no-serve", action="store_true", help="load and print the links, without serving")
        parser.add_argument("--reset", action="store_true", help="delete the demo's builds and load it anew")
        parser.add_argument("--yes", action="store_true", help="answer the question of --reset with yes")

    def handle(self, *args: Any, **options: Any) -> None:
        host, port = "127.0.0.1", options["port"]
        serving_too = not options["no_serve"]
        if serving_too:
            serving.refuse_taken_port(host, port, "demo")
        serving.prepare_database()
        note = serving.documents_note()
        if note:
            self.stdout.write(note)
        build = self._build(reset=options["reset"], sure=options["yes"])
        if not serving_too:
            self._links(build, serving.address(host, port))
            return

        def started() -> None:
            where = serving.address(host, port)
            self._links(build, where)
            self.stdout.write(f"\nServing {where} {serving.manner()}")
            self.stdout.flush()

        serving.serve(host, port, processes=1, say=self._say, started=started)

    def _say(self, text: str) -> None:
        self.stdout.write(text)
        self.stdout.flush()

    def _build(self, *, reset: bool, sure: bool) -> Build:
        from buildout.changes.web import demo

        found = demo.find_demo()
        if found is not None and reset:
            if not sure:
                self._ask(demo.demo_builds())
            demo.remove_demo()
            self._say("The demo was deleted.")
            found = None
        if found is not None:
            self._say(f"The demo build is loaded: {found.name}. Start over with --reset.")
            return found
        self._say("Loading the demo build: two revisions, each worked out from the tape readings to the opening date.")
        try:
            return demo.load_demo(self._say)
        except KeyboardInterrupt:
            raise CommandError("Stopped; nothing of the demo was kept. Run it again to load it.") from None

    def _ask(self, doomed: list[Build]) -> None:
        names = ", ".join(f"“{build.name}”" for build in doomed)
        self.stdout.write(f"This deletes {names} with all orders, sign-ups and revisions.")
        if not sys.stdin.isatty():
            raise CommandError("Nobody is there to answer; add --yes to start the demo over.")
        if input("Type yes to start over: ").strip().lower() != "yes":
            raise CommandError("Left as it is.")

    def _links(self, build: Build, where: str) -> None:
        from buildout.changes.web import demo

        width = 12
        for what, (email, name, _) in (("Owner", demo.OWNER), ("Partner", demo.PARTNER), ("Crew lead", demo.LEAD)):
            path = reverse("people:sign-in-link", args=[demo.sign_in_token(email)])
            self.stdout.write(f"{what:{width}}{name:20}{where}{path}")
        sign_up = demo.helper_sign_up(build)
        if sign_up is not None:
            path = reverse("scheduling:my", args=[sign_up.token])
            self.stdout.write(f"{'Helper':{width}}{sign_up.name:20}{where}{path}")
        share = ShareLink.objects.open().filter(build=build).order_by("pk").first()
        if share is not None:
            path = reverse("scheduling:join", args=[share.token])
            self.stdout.write(f"{'Sign up':{width}}{'for helpers':20}{where}{path}")
