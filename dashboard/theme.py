"""Our own colours and the look of every chart, in light and in dark.

The page colours stand in .streamlit/config.toml, where the server reads them; a test holds the two together.
No meaning rests on colour alone: series also differ in dash, shape or a written label.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from dashboard.reader_choice import separators


@dataclass(frozen=True)
class Palette:
    """The colours of one theme, as #RRGGBB.

    paper, panel: grounds. ink, quiet: text. line: rules and grids. main, other: the two series of a comparison.
    aside: what stands back. alert: what is outside its limits.
    """

    name: str
    paper: str
    panel: str
    ink: str
    quiet: str
    line: str
    main: str
    other: str
    aside: str
    alert: str


LIGHT = Palette(
    name="light",
    paper="#FAF9F6",
    panel="#F0EEE7",
    ink="#20282C",
    quiet="#566167",
    line="#D6D2C7",
    main="#14606F",
    other="#A8520F",
    aside="#7B858A",
    alert="#A1283A",
)
DARK = Palette(
    name="dark",
    paper="#161B1E",
    panel="#20272B",
    ink="#E8E5DD",
    quiet="#A9B2B6",
    line="#3A444A",
    main="#6DB8C6",
    other="#E2A063",
    aside="#8D979C",
    alert="#F2919A",
)


def palette(theme_type: str | None) -> Palette:
    """The palette for the reader's theme; light when the browser has not told yet."""
    return DARK if theme_type == "dark" else LIGHT


def contrast(one: str, two: str) -> float:
    """Contrast ratio of two #RRGGBB colours, 1..21. Source: WCAG 2.2, relative luminance."""

    def luminance(colour: str) -> float:
        channels = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
        linear = [value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4 for value in channels]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    bright, dim = sorted((luminance(one), luminance(two)), reverse=True)
    return (bright + 0.05) / (dim + 0.05)


def chart_config(colours: Palette) -> dict[str, Any]:
    """The Vega-Lite configuration every chart is drawn with, numbers in the reader's separators."""
    thousands, decimal = separators()
    font = '"Source Sans", sans-serif'
    return {
        "background": colours.paper,
        "locale": {"number": {"decimal": decimal, "thousands": thousands, "grouping": [3], "currency": ["", ""]}},
        "font": font,
        "view": {"stroke": None},
        "axis": {
            "labelColor": colours.quiet,
            "titleColor": colours.ink,
            "labelFontSize": 12,
            "titleFontSize": 12.5,
            "titleFontWeight": 500,
            "titlePadding": 8,
            "gridColor": colours.line,
            "gridOpacity": 0.6,
            "domainColor": colours.line,
            "tickColor": colours.line,
            "labelFont": font,
            "titleFont": font,
        },
        "legend": {
            "labelColor": colours.ink,
            "titleColor": colours.ink,
            "labelFontSize": 12.5,
            "orient": "top",
            "direction": "horizontal",
            "title": None,
            "symbolStrokeWidth": 2.5,
            "labelLimit": 400,
            # One under the other where the page is narrow, so that none is cut off.
            "columns": {"expr": "width < 480 ? 1 : 0"},
        },
        "header": {"labelColor": colours.ink, "titleColor": colours.ink, "labelFontSize": 12.5},
        "text": {"color": colours.ink, "font": font, "fontSize": 12},
        "title": {"color": colours.ink, "anchor": "start", "fontSize": 13.5, "fontWeight": 600, "font": font},
        "range": {"category": [colours.main, colours.other, colours.aside, colours.alert]},
        "axisX": {"grid": False},
    }


# A table of more than two columns; on a phone each of its rows stands as a block of lines, its first cell as the title.
STACKED = ".gp-list:has(td:nth-child(3))"
# Two columns have room side by side there, too.
SIDE_BY_SIDE = ".gp-list:not(:has(td:nth-child(3)))"


def page_style(colours: Palette) -> str:
    """The little style sheet of the pages: width, the answer, the figure cards, notices. No outside files."""
    return f"""<style>
.stMainBlockContainer {{max-width: 1240px; padding: 3.9rem 1.4rem 3rem;}}
@media (min-width: 1700px) {{.stMainBlockContainer {{max-width: 1600px;}}}}
.stMainBlockContainer [data-testid="stMarkdownContainer"] :is(p, li), .gp-notice li {{max-width: 62rem;}}
.stMainBlockContainer h1 {{padding: .1rem 0 .2rem;}}
.stMainBlockContainer h2 {{padding: .9rem 0 .45rem; border-top: 1px solid {colours.line}; margin-top: .5rem;}}
.stMainBlockContainer h3 {{padding: .35rem 0 .1rem;}}
.stMainBlockContainer [data-testid="stVerticalBlock"] {{gap: .75rem;}}
.st-key-scope p.gp-quiet {{text-align: left; margin: 0 0 .3rem;}}
.st-key-answer {{margin-bottom: .8rem;}}
.st-key-answer p {{font-family: "Source Serif", Georgia, serif; font-size: 1.22rem; line-height: 1.42; max-width: 62rem;
  margin-bottom: .35rem;}}
.st-key-scope label p {{font-size: .8rem; color: {colours.quiet};}}
.gp-card {{border-top: 3px solid {colours.main}; padding: .45rem .1rem .1rem; min-height: 9.6rem;}}
.gp-card.gp-unknown {{border-top: 3px dashed {colours.aside};}}
.gp-label {{font-size: .93rem; font-weight: 600; line-height: 1.25; min-height: 1.3em; color: {colours.ink};}}
.gp-value {{font-size: 2rem; line-height: 1.15; font-weight: 600; font-variant-numeric: tabular-nums lining-nums;
  color: {colours.ink};}}
.gp-value small {{font-size: .95rem; font-weight: 400; color: {colours.quiet};}}
.gp-card.gp-unknown .gp-value {{font-size: 1.15rem; padding: .5rem 0;}}
.gp-card p {{margin: .12rem 0; font-size: .9rem; line-height: 1.35; color: {colours.ink};}}
.gp-remark {{border-left: 3px solid {colours.aside}; padding: .1rem .7rem; margin: .3rem 0; font-size: .9rem;
  line-height: 1.4; white-space: pre-line; overflow-wrap: anywhere; color: {colours.ink};}}
.gp-card p.gp-quiet, p.gp-quiet, .gp-quiet {{color: {colours.quiet}; font-size: .86rem;}}
[data-testid="stCaptionContainer"], [data-testid="stCaptionContainer"] p {{color: {colours.quiet}; opacity: 1;}}
.gp-card {{position: relative;}} .gp-list th, .st-key-answer {{position: relative;}}
.gp-term {{border-bottom: 1px dotted {colours.quiet}; cursor: help;}}
.gp-term:focus-visible {{outline: 2px solid {colours.main}; outline-offset: 2px;}}
.gp-term::after {{content: attr(data-tip); display: none; position: absolute; left: 0; right: 0; z-index: 20; min-width: 15rem;
  max-width: 26rem; margin-top: .1rem; padding: .5rem .7rem; background: {colours.ink}; color: {colours.paper};
  font: 400 .86rem/1.4 "Source Sans", sans-serif; text-align: left; white-space: normal; border-radius: 3px;}}
.gp-term:hover::after, .gp-term:focus-visible::after {{display: block;}}
.gp-list th:last-child .gp-term::after, .gp-list .gp-num .gp-term::after {{left: auto;}}
[data-testid^="stBaseButton-primary"]:not(:disabled), [data-testid="stMultiSelect"] [data-tag] :is(span, button)
  {{color: {colours.paper};}}
.st-key-tour p {{margin: .1rem 0 .2rem; max-width: 62rem;}}
.gp-rule {{position: relative; height: 16px; margin: .2rem 0 .15rem;}}
.gp-rule i {{position: absolute; display: block;}}
.gp-notice {{border-left: 4px solid {colours.other}; background: {colours.panel}; padding: .55rem .9rem;
  margin: .3rem 0;
  font-size: .9rem; line-height: 1.42; color: {colours.ink};}}
.gp-notice.gp-calm {{border-left-color: {colours.aside};}}
.gp-notice ul {{margin: .25rem 0 .1rem 1.1rem; padding: 0;}} .gp-notice li {{margin: .08rem 0;}}
.gp-list {{border-collapse: collapse; width: 100%; font-size: .9rem; color: {colours.ink};
  font-variant-numeric: tabular-nums;}}
.gp-list th {{text-align: left; font-weight: 600; padding: .28rem .6rem .28rem 0;
  border-bottom: 1.5px solid {colours.aside};
  vertical-align: bottom;}}
.gp-list td {{padding: .26rem .6rem .26rem 0; border-bottom: 1px solid {colours.line}; vertical-align: top;
  overflow-wrap: break-word;}}
.gp-list .gp-num {{text-align: right; white-space: nowrap; overflow-wrap: normal;}}
.gp-list .gp-num + :not(.gp-num) {{padding-left: 1.1rem;}}
.gp-list tr.gp-first td {{font-weight: 600;}}
@media (min-width: 641px) {{[class*="st-key-on_narrow_"] {{display: none;}}}}
@media (max-width: 640px) {{
  [class*="st-key-on_wide_"] {{display: none;}}
  .st-key-scope > .stElementContainer {{width: calc(50% - .5rem); flex: 1 1 calc(50% - .5rem);}}
  .st-key-scope > .stElementContainer:has(p.gp-quiet) {{flex-basis: 100%;}}
  .st-key-scope .stElementContainer > div {{max-width: 100%;}}
  {STACKED} thead {{display: none;}}
  {STACKED} tr {{display: block; border-bottom: 1px solid {colours.line}; padding: .3rem 0;}}
  {STACKED} :is(td, .gp-num) {{display: flex; gap: .8rem; border: 0; text-align: left; white-space: normal; padding: .1rem 0;}}
  {STACKED} .gp-num + :not(.gp-num) {{padding-left: 0;}}
  {STACKED} td::before {{content: attr(data-title); flex: 0 0 38%; font-weight: 400; color: {colours.quiet};}}
  {STACKED} td:empty::after {{content: "–"; color: {colours.quiet};}}
  {STACKED} td:first-child {{font-weight: 600;}}
  {SIDE_BY_SIDE} {{table-layout: fixed;}} {SIDE_BY_SIDE} .gp-num {{white-space: normal; overflow-wrap: break-word;}}
  {SIDE_BY_SIDE} :is(th, td):first-child:not(:last-child) {{width: 38%;}}
  {SIDE_BY_SIDE}:has(.gp-num:nth-child(2)) :is(th, td):first-child {{width: 60%;}}
  .gp-card {{min-height: 0;}}
  [data-testid="stPageLink"] :is(a, p, span), [data-testid="stButtonGroup"] :is(button, p),
  [data-testid="stFileUploaderDropzone"] :is(div, span) {{white-space: normal; height: auto; overflow: visible;}}
}}
@media print {{header, .st-key-scope, .stButton, .stDownloadButton {{display: none !important;}}}}
</style>"""
