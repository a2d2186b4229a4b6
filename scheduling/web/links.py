"""Addresses to hand out, and their QR codes."""

from __future__ import annotations

import re
from functools import lru_cache
from io import BytesIO
from urllib.parse import quote

from django.conf import settings
from django.http import HttpRequest
from django.urls import reverse
from django.utils.safestring import SafeString, mark_safe

from scheduling.web.models import ShareLink, SignUp


def full_address(request: HttpRequest, path: str) -> str:
    """A path as people can type it: by the public address where one is set, else as this page was reached."""
    return f"{settings.PUBLIC_URL}{path}" if settings.PUBLIC_URL else request.build_absolute_uri(path)


def join_address(request: HttpRequest, link: ShareLink, day: str = "") -> str:
    """Where helpers sign up: among all days, or for one."""
    path = (
        reverse("scheduling:join-day", args=[link.token, day]) if day else reverse("scheduling:join", args=[link.token])
    )
    return full_address(request, path)


def my_address(request: HttpRequest, row: SignUp) -> str:
    return full_address(request, reverse("scheduling:my", args=[row.token]))


def guardian_address(request: HttpRequest, row: SignUp) -> str:
    """Where the guardian of somebody under 18 signs."""
    return full_address(request, reverse("scheduling:guardian", args=[row.guardian_token]))


def message_link(contact: str, subject: str, text: str) -> str:
    """A link that opens the owner's own messenger with the text in it: mail (RFC 6068), else a text message (RFC 5724).

    >>> message_link("bram@example.org", "Saturday", "Hello & come")
    'mailto:bram@example.org?subject=Saturday&body=Hello%20%26%20come'
    >>> message_link("+1 (555) 0142-817", "Saturday", "Hello")
    'sms:+15550142817?body=Hello'
    """
    if "@" in contact:
        return f"mailto:{quote(contact.strip(), safe='@')}?subject={quote(subject)}&body={quote(text)}"
    digits = re.sub(r"\D", "", contact)
    number = f"+{digits}" if contact.strip().startswith("+") else digits
    return f"sms:{number}?body={quote(text)}" if digits else ""


def call_link(contact: str) -> str:
    """A link that calls somebody, or opens a mail to them (RFC 3966, RFC 6068); empty where neither can be read.

    >>> call_link("+1 (555) 0142-817"), call_link("bram@example.org"), call_link("ask Dov")
    ('tel:+15550142817', 'mailto:bram@example.org', '')
    """
    if "@" in contact:
        return f"mailto:{quote(contact.strip(), safe='@')}"
    digits = re.sub(r"\D", "", contact)
    return f"tel:{'+' if contact.strip().startswith('+') else ''}{digits}" if digits else ""


@lru_cache(maxsize=256)
def qr_code(address: str) -> SafeString:
    """The address as a QR code (ISO/IEC 18004), an SVG that can stand in a page."""
    import segno

    out = BytesIO()
    segno.make(address, error="m", micro=False).save(
        out, kind="svg", xmldecl=False, svgns=False, border=4, light="#fff", dark="#000", omitsize=True, svgclass="qr"
    )
    return mark_safe(out.getvalue().decode())  # noqa: S308 - segno writes numbers only
