"""The token that guards the first account: known only to whoever can see where the program was started."""

from __future__ import annotations

from django.utils.crypto import salted_hmac


def setup_token() -> str:
    """Three groups of four hexadecimal digits, the same until the secret key changes."""
    digits = salted_hmac("buildout.first-account", "setup").hexdigest()
    return "-".join(digits[start : start + 4] for start in (0, 4, 8))
