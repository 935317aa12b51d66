"""Contrast, the one place of the colours, and the settings that keep the pages on this machine."""

from __future__ import annotations

import tomllib
from itertools import product
from pathlib import Path

import pytest

from dashboard import theme

CONFIG = tomllib.loads((Path(theme.__file__).parent / ".streamlit" / "config.toml").read_text("utf-8"))
PALETTES = (theme.LIGHT, theme.DARK)


def test_contrast_against_published_values() -> None:
    # WCAG 2.2, understanding 1.4.3: black on white 21:1; #767676 on white 4.54:1. Value from memory.
    assert theme.contrast("#000000", "#FFFFFF") == pytest.approx(21.0)
    assert theme.contrast("#767676", "#FFFFFF") == pytest.approx(4.54, abs=0.01)


@pytest.mark.parametrize(("shades", "text", "ground"), list(product(PALETTES, ("ink", "quiet"), ("paper", "panel"))))
def test_text_reaches_aa(shades: theme.Palette, text: str, ground: str) -> None:
    assert theme.contrast(getattr(shades, text), getattr(shades, ground)) >= 4.5


@pytest.mark.parametrize(("shades", "mark"), list(product(PALETTES, ("main", "other", "alert", "aside"))))
def test_marks_reach_three_to_one(shades: theme.Palette, mark: str) -> None:
    assert theme.contrast(getattr(shades, mark), shades.paper) >= 3.0


@pytest.mark.parametrize("shades", PALETTES)
def test_page_colours_are_those_of_the_palette(shades: theme.Palette) -> None:
    section = CONFIG["theme"][shades.name]
    assert section["backgroundColor"] == shades.paper
    assert section["secondaryBackgroundColor"] == shades.panel
    assert section["textColor"] == shades.ink
    assert section["primaryColor"] == shades.main
    assert section["borderColor"] == shades.line
    assert theme.contrast(section["linkColor"], shades.paper) >= 4.5


def test_nothing_leaves_the_machine() -> None:
    assert CONFIG["browser"]["gatherUsageStats"] is False
    assert CONFIG["server"]["address"] == "127.0.0.1"
    for name in ("font", "headingFont"):
        assert "http" not in CONFIG["theme"][name]
    # The built-in export writes formulas as they stand; ours does not.
    assert CONFIG["client"]["disableDataExport"] is True
