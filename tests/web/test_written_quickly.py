"""What pages write by a shorter way says what the longer way says."""

from __future__ import annotations

from typing import Any

import pytest
from django import forms
from django.test.html import parse_html

from buildout.builds.web.models import Build
from buildout.builds.web.services import Sheet, sheet_of
from buildout.builds.web.templatetags.sheet import tick
from estimating.engine.types import Award, Product
from estimating.web.forms import CommentForm


class Choosing(forms.Form):
    many = forms.MultipleChoiceField(
        choices=[("a", "A"), ('"<b>&', "odd"), (7, "a number"), ("", "nothing")], widget=forms.CheckboxSelectMultiple
    )
    one = forms.ChoiceField(choices=[("x", "X"), ("y", "Y")], widget=forms.RadioSelect(attrs={"class": "wide"}))


@pytest.mark.parametrize("data", [None, {"many": ["a", '"<b>&'], "one": "y"}, {"many": ["not there"]}])
@pytest.mark.parametrize("name", ["many", "one"])
def test_a_tick_is_written_as_its_widget_writes_it(data: dict[str, Any] | None, name: str) -> None:
    choices = list(Choosing(data)[name])
    assert len(choices) >= 2
    for choice in choices:
        assert parse_html(tick(choice)) == parse_html(choice.tag()), "the same element, attributes in any order"


def test_every_head_has_a_box_of_its_own_and_the_one_that_came_back_its_text() -> None:
    wrong = CommentForm({"text": "x" * 2001}, auto_id="id_12_%s")
    assert not wrong.is_valid()
    boxes = CommentForm.boxes([2, 12], 12, wrong)
    assert 'id="id_2_text"' in boxes[2]
    assert 'for="id_2_text"' in boxes[2]
    assert "HEAD" not in boxes[2]
    assert "x" * 2001 in boxes[12]
    assert 'id="id_12_text_error"' in boxes[12]


def test_a_part_is_opened_once_for_one_sheet_and_anew_for_the_next(quick_build: Build) -> None:
    sheet = sheet_of(quick_build)
    assert sheet.part("award", Award) is sheet.part("award", Award)
    assert sheet.section("products", list[Product]) is sheet.section("products", list[Product])
    assert isinstance(sheet.part("award", dict), dict), "by the type that is asked for"
    again = Sheet(sheet.revision)
    assert again.part("award", Award) == sheet.part("award", Award)
    assert again.part("award", Award) is not sheet.part("award", Award)
