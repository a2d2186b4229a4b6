"""The office the floors below talk to; the chain behind it is imported when first needed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from buildout.builds.web.models import Proposal


class LazyOffice:
    def check(self, document: Mapping[str, Any]) -> None:
        from buildout.changes.web.services import ChangesOffice

        ChangesOffice().check(document)

    def start(self, proposal: Proposal) -> None:
        from buildout.changes.web.services import ChangesOffice

        ChangesOffice().start(proposal)
