"""Both themes against WCAG 2.2: 1.4.3 (text 4.5:1) and 1.4.11 (edges and shapes 3:1).

The formulas are those of the standard's definitions of "contrast ratio" and "relative luminance"
(https://www.w3.org/TR/WCAG22/#dfn-contrast-ratio). The first test holds our arithmetic to the ratios that the
standard fixes itself: 21:1 for black on white, 1:1 for a colour on itself.
"""

import re
from pathlib import Path

import pytest
from django.conf import settings

from shop.wording import STATES

TOKENS = (Path(settings.BASE_DIR) / "static/css/tokens.css").read_text()

TEXT = [
    *((ink, ground) for ink in ("ink", "soft", "link") for ground in ("ground", "sheet")),
    ("ink", "sunk"),
    ("soft", "sunk"),
    ("tag-ink", "tag"),
    ("tag-soft", "tag"),
    ("act-ink", "act"),
    ("act-ink", "act-deep"),
    ("link", "act-wash"),
    ("ink", "act-wash"),
    ("soft", "act-wash"),
    ("good", "good-wash"),
    ("ink", "good-wash"),
    ("bad", "bad-wash"),
    ("bad", "sheet"),
    ("bad", "ground"),
    ("bad", "tag"),
    ("ink", "bad-wash"),
    ("bad-ink", "bad"),
    ("heed", "heed-wash"),
    ("ink", "heed-wash"),
    ("bar-ink", "bar"),
    ("bar-soft", "bar"),
    ("bar-ink", "bar-well"),
    ("bar-soft", "bar-well"),
]
SHAPES = [
    ("edge", "sheet"),
    ("edge", "ground"),
    ("edge", "tag"),
    ("act", "sheet"),
    ("act", "ground"),
    ("act", "tag"),
    ("act", "act-wash"),
    ("eyelet", "tag"),
    ("heed-edge", "heed-wash"),
    ("focus", "ground"),
    ("focus", "sheet"),
    ("focus", "tag"),
    ("bar-edge", "bar"),
    ("good", "good-wash"),
    *((f"state-{state}", "sheet") for state in STATES),
    *(("state-ink", f"state-{state}") for state in STATES),
]


def block(selector: str) -> dict[str, str]:
    body = re.search(re.escape(selector) + r"\s*\{([^}]*)\}", TOKENS)
    assert body, f"tokens.css has no {selector}"
    return dict(re.findall(r"--([\w-]+):\s*([^;]+);", body[1]))


def luminance(colour: str) -> float:
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


THEMES = {"counter": block('[data-theme="counter"]'), "bench": block('[data-theme="bench"]')}


def test_our_arithmetic_agrees_with_the_standards_own_ends():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#0d4d5a", "#0d4d5a") == pytest.approx(1)


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize(("ink", "ground"), TEXT)
def test_words_are_read_with_ease(theme: str, ink: str, ground: str):
    assert contrast(THEMES[theme][ink], THEMES[theme][ground]) >= 4.5


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize(("shape", "ground"), SHAPES)
def test_edges_and_shapes_are_seen(theme: str, shape: str, ground: str):
    assert contrast(THEMES[theme][shape], THEMES[theme][ground]) >= 3


def test_the_dark_theme_is_the_same_by_choice_and_by_the_devices_setting():
    assert block('[data-theme="auto"]') == THEMES["bench"]


def test_both_themes_know_every_colour():
    assert THEMES["counter"].keys() == THEMES["bench"].keys()


def test_no_colour_is_used_that_no_theme_has():
    known = set(THEMES["counter"]) | set(block(":root"))
    for sheet in ("base", "parts", "pages", "print"):
        css = (Path(settings.BASE_DIR) / f"static/css/{sheet}.css").read_text()
        own = set(re.findall(r"--([\w-]+):", css))
        assert set(re.findall(r"var\(--([\w-]+)", css)) <= known | own, sheet
