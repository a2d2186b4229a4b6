"""Every pair of colours a page puts together can be read, in light and in dark.

Formula: WCAG 2.2, "relative luminance" and "contrast ratio"; limits: success criteria 1.4.3 (text, 4.5) and
1.4.11 (parts of controls and drawings, 3).
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

CSS = Path(__file__).resolve().parents[2] / "static" / "css"
SHEETS = [path for path in sorted(CSS.glob("*.css")) if ":root" in path.read_text()]
"""Style sheets with colours of their own."""

TEXT = [
    ("--ink", "--paper"), ("--ink", "--paper-2"), ("--ink", "--mat"), ("--ink-2", "--paper"), ("--ink-2", "--paper-2"),
    ("--accent", "--paper"), ("--accent", "--paper-2"), ("--accent-ink", "--accent"), ("--paper", "--ink"),
]  # fmt: skip
PARTS = [("--line", "--paper"), ("--focus", "--paper"), ("--focus", "--paper-2"), ("--accent", "--paper")]


def luminance(colour: str) -> float:
    digits = colour.lstrip("#")
    if len(digits) == 3:
        digits = "".join(c * 2 for c in digits)
    channels = [int(digits[at : at + 2], 16) / 255 for at in (0, 2, 4)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize(
    ("one", "other", "ratio"),
    [
        # By the WCAG 2.2 formula; 21 is the standard's own example, #767676 the well-known lightest grey that passes.
        ("#000000", "#ffffff", 21.0),
        ("#595959", "#ffffff", 7.0047),
        ("#767676", "#ffffff", 4.5422),
        ("#777777", "#ffffff", 4.4781),
        ("#949494", "#ffffff", 3.0335),
        ("#959595", "#ffffff", 2.9953),
        ("#ff0000", "#ffffff", 3.9985),
        ("#0000ff", "#ffffff", 8.5925),
        ("#00ff00", "#ffffff", 1.3722),
        ("#123456", "#abcdef", 7.6973),
    ],
)
def test_the_formula_gives_the_published_values(one: str, other: str, ratio: float) -> None:
    assert contrast(one, other) == pytest.approx(ratio, abs=1e-4)


def themes(css: str) -> dict[str, dict[str, str]]:
    """The colour variables of a style sheet: ``light`` from its first :root, ``dark`` with what dark overrides."""
    light_block, _, rest = css.partition("@media (prefers-color-scheme: dark)")
    pattern = re.compile(r"(--[\w-]+):\s*(#[0-9a-fA-F]{3,6})\s*;")
    light = dict(pattern.findall(re.search(r":root\s*\{(.*?)\}", light_block, re.DOTALL)[1]))  # type: ignore[index]
    dark_root = re.search(r":root\s*\{(.*?)\}", rest, re.DOTALL)
    dark = dict(pattern.findall(dark_root[1])) if dark_root else {}
    return {"light": light, "dark": light | dark}


@pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.name)
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_text_and_parts_can_be_read(path: Path, theme: str) -> None:
    css = path.read_text()
    colours = themes(css)[theme]
    low = []
    for pairs, least in ((TEXT, 4.5), (PARTS, 3.0)):
        for one, other in pairs:
            if one in colours and other in colours:
                ratio = contrast(colours[one], colours[other])
                if ratio < least:
                    low.append(f"{one} on {other}: {ratio:.4f} is below {least}")
    assert not low, "\n".join(low)
    assert {"--ink", "--paper"} <= set(colours)


@pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.name)
def test_dark_overrides_every_colour_of_light(path: Path) -> None:
    css = path.read_text()
    found = themes(css)
    same = [name for name, value in found["light"].items() if found["dark"][name] == value]
    assert not same, f"dark keeps the light value of {', '.join(same)}"
