"""Measure, as ratios within one run."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import msgspec
from django.core.management.base import BaseCommand, CommandError, CommandParser


class Command(BaseCommand):
    help = "Measure chain, pages and start beside what they cannot beat. Uses databases of its own; takes minutes."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--json", action="store_true", help="print the rows as JSON")
        parser.add_argument("--cutting", metavar="DIR", help="solve the cutting problems in a folder instead")
        parser.add_argument("--schedule", metavar="DIR", help="solve the scheduling problems in a folder instead")
        parser.add_argument("--survey", action="store_true", help="measure the survey on seeded rooms instead")
        parser.add_argument("--rooms", type=int, default=1000, help="seeded rooms for --survey (default 1000)")
        parser.add_argument("--repeats", type=int, default=5, help="runs the median is taken of (default 5)")

    def _say(self, text: str) -> None:
        self.stderr.write(f"measuring: {text}")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["cutting"]:
            self._cutting(options["cutting"], as_json=options["json"])
            return
        if options["schedule"]:
            self._schedule(options["schedule"], as_json=options["json"])
            return
        from buildout.changes.web.bench import measure

        repeats = options["repeats"]
        if repeats < 1:
            raise CommandError("--repeats must be 1 or more, for example 3.")
        if options["survey"]:
            from buildout.changes.web.bench_survey import print_survey

            if options["rooms"] < 1:
                raise CommandError("--rooms must be 1 or more, for example 200.")
            print_survey(
                options["rooms"], repeats, self.stdout.write, lambda text: self.stderr.write(f"measuring: {text}")
            )
            return
        rows = measure(repeats, lambda text: self.stderr.write(f"measuring: {text}"))
        if options["json"]:
            self.stdout.write(json.dumps({"rows": [msgspec.structs.asdict(row) for row in rows]}, indent=1))
            return
        self.stdout.write(f"{'':36}{'value':>10}    {'ratio':>8} {'goal':>7}  met  beside")
        for row in rows:
            value = f"{row.value:10.3f} {row.unit:2}"
            met = "yes" if row.met else "NO"
            self.stdout.write(f"{row.name:36}{value} {row.ratio:8.2f} {row.goal:7.1f}  {met:4} {row.anchor}")

    def _cutting(self, folder: str, *, as_json: bool) -> None:
        from buildout.changes.web.bench_cutting import measure_cutting

        rows = []
        if not as_json:
            self.stdout.write(f"{'':34}{'found':>8} {'bound':>8} {'optimum':>8}  {'s':>8} {'plainest':>9}  status")
        try:
            for row in measure_cutting(Path(folder)):
                rows.append(msgspec.structs.asdict(row))
                if not as_json:
                    optimum = "" if row.published is None else row.published
                    self.stdout.write(
                        f"{row.instance:34}{row.found:8} {row.bound:8} {optimum:>8}  {row.seconds:8.2f} "
                        f"{row.anchor_seconds:9.4f}  {row.status}"
                    )
        except ValueError as error:
            raise CommandError(str(error)) from error
        if as_json:
            self.stdout.write(json.dumps({"rows": rows}, indent=1))

    def _schedule(self, folder: str, *, as_json: bool) -> None:
        from buildout.changes.web.bench_schedule import measure_schedule, sums

        rows = []
        if not as_json:
            self.stdout.write(
                f"{'':34}{'found':>7} {'bound':>7} {'gap':>6}  {'s':>8} {'beside':>8} {'ratio':>6}  status"
            )
        try:
            for row in measure_schedule(Path(folder)):
                rows.append(row)
                if not as_json:
                    ratio = row.seconds / row.anchor_seconds if row.anchor_seconds else 0.0
                    found, bound = ("" if value is None else value for value in (row.found, row.bound))
                    gap = "" if row.gap is None else f"{row.gap:.1%}"
                    stopped = f", stopped {row.stopped}" if row.stopped else ""
                    self.stdout.write(
                        f"{row.instance:34}{found:>7} {bound:>7} {gap:>6}  {row.seconds:8.3f} "
                        f"{row.anchor_seconds:8.3f} {ratio:6.2f}  {row.status}, beside {row.anchor}{stopped}"
                    )
        except ValueError as error:
            raise CommandError(str(error)) from error
        total = sums(rows)
        if as_json:
            listed = [msgspec.structs.asdict(row) for row in rows]
            self.stdout.write(json.dumps({"rows": listed, "public_instances": total}, indent=1))
        elif total:
            self.stdout.write(
                f"Public instances: {total['proven']} of {total['instances']} proven, {total['seconds']:.3f} s beside "
                f"{total['anchor_seconds']:.3f} s, ratio of the sums {total['ratio']:.2f}, of the worst row "
                f"{total['worst_ratio']:.2f}"
            )
