"""A build nobody has quoted for yet: the sheets about money and orders say so, and claim nothing."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from buildout.builds.web.models import Build
from buildout.people.web.models import User
from estimating.web.models import Order

ClientOf = Callable[[User | None], Client]


@pytest.fixture
def unquoted_build(small_build: Build) -> Build:
    """The build with the award the chain leaves when there is no quote."""
    revision = small_build.current
    assert revision is not None
    result: dict[str, Any] = json.loads(revision.result)
    asked = [line["item"] for line in result["award"]["lines"]]
    result["award"] |= {"status": "underdetermined", "lines": [], "suppliers": [], "unquoted": asked}
    result["award"] |= {"total": "0", "tax": "0", "bound": "0"}
    revision.result = json.dumps(result)
    revision.save()
    Order.objects.filter(build=small_build).delete()
    return small_build


def test_orders_send_to_the_quotes_first(unquoted_build: Build, owner: User, client_of: ClientOf) -> None:
    page = client_of(owner).get(reverse("estimating:orders", args=[unquoted_build.pk])).content.decode()
    assert "Nothing is awarded yet: enter quotes first." in page
    assert "Everything awarded is on an order" not in page


def test_no_choice_is_called_cheapest(unquoted_build: Build, owner: User, client_of: ClientOf) -> None:
    page = client_of(owner).get(reverse("estimating:quotes", args=[unquoted_build.pk])).content.decode()
    assert "Nothing is awarded" in page
    assert "no choice is below" not in page
    assert "costs less" not in page
