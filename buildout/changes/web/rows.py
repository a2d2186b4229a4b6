"""Rows of the database as plain JSON values and back, without losing a digit."""

from __future__ import annotations

import json
from base64 import b64encode
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db import models


def plain(value: Any) -> Any:
    """A column's value as JSON holds it: numbers of the currency kind, moments and bytes (as base64) as text."""
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if isinstance(value, bytes | memoryview):
        return b64encode(bytes(value)).decode()
    if isinstance(value, Decimal | UUID):
        return str(value)
    return value


def value_of(field: models.Field[Any, Any], raw: Any) -> Any:
    """A JSON value as the column takes it. Raises ``ValidationError`` when it does not fit."""
    if raw is None or isinstance(field, models.JSONField):
        return raw
    return field.to_python(raw)


def line(row: dict[str, Any]) -> bytes:
    """One row as a line of JSON, the same bytes whatever database it came from."""
    return json.dumps(row, ensure_ascii=False, sort_keys=True, separators=(",", ":")).encode() + b"\n"
