"""Mail, where the installation has it set up."""

from __future__ import annotations

from django.conf import settings
from django.core.mail import send_mail


def mail_is_set_up() -> bool:
    return not settings.EMAIL_BACKEND.endswith("dummy.EmailBackend")


def mail(subject: str, text: str, to: str) -> bool:
    """Send one mail where that is possible; whoever calls keeps the text on a list otherwise."""
    if "@" not in to or not mail_is_set_up():
        return False
    return bool(send_mail(subject, text, None, [to], fail_silently=True))
