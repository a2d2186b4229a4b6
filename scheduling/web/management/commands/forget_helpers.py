"""Take out names, contacts and notes of helpers whose time is over."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from scheduling.web.keeping import KEPT_DAYS, forget_everywhere


class Command(BaseCommand):
    help = (
        f"Take out names, contacts, notes and photos of helpers {KEPT_DAYS} days after their build day. "
        "serve does this every day by itself; for installations that serve in another way."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        count = forget_everywhere()
        self.stdout.write(f"{count} helper{'s' if count != 1 else ''} taken out.")
