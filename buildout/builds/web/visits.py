"""When a member last looked, so that what is newer can be shown as new."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.http import HttpRequest
from django.utils import timezone

from buildout.builds.web.models import Member

SITTING = timedelta(minutes=30)
"""Looking again within this time is the same visit: what was new stays marked as new."""


def since_last_visit(request: HttpRequest, member: Member) -> datetime | None:
    """When the reader's previous visit ended; this visit is noted as the last one."""
    now = timezone.now()
    key = f"since-{member.build_id}"
    if key not in request.session or member.last_visit is None or now - member.last_visit > SITTING:
        request.session[key] = member.last_visit.isoformat() if member.last_visit else ""
    Member.objects.filter(pk=member.pk).update(last_visit=now)
    kept = request.session[key]
    return datetime.fromisoformat(kept) if kept else None
