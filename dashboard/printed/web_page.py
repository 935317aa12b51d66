"""A pack as one web page in one file: no outside address, no script; prints as it looks."""

from __future__ import annotations

import base64
import html
from typing import Any

from dashboard.printed import paper
from dashboard.printed.paper import Document

POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"
# Where rows of more than two columns stand one under the other, as on the pages. Never on paper, however small.
PHONE = "screen and (max-width: 640px)"
STYLE = """
:root {color-scheme: light} * {box-sizing: border-box}
body {font: 15px/1.45 "Libertinus Serif", "Source Serif", Georgia, serif; color: #000; background: #fff;
  max-width: 60rem; margin: 1.2rem auto; padding: 0 1rem; overflow-wrap: break-word}
h1 {font-size: 1.8rem; margin: 0 0 .2rem} h2 {font-size: 1.2rem; border-top: 1px solid #000; padding-top: .4rem; margin: 1.2rem 0 .5rem}
.quiet {color: #333; font-size: .88rem; margin: .2rem 0} .lead {font-size: 1.2rem; margin: .6rem 0 1rem}
.cards, .pair {display: grid; grid-template-columns: repeat(auto-fit, minmax(12rem, 1fr)); gap: 1rem}
.pair {grid-template-columns: repeat(auto-fit, minmax(20rem, 1fr))} .pair > div {min-width: 0}
.card {border-top: 3px solid #000; padding-top: .3rem} .card.unknown {border-top-style: dashed}
.card b {display: block} .value {font-size: 1.9rem; font-weight: 600; line-height: 1.2} .unknown .value {font-size: 1.15rem}
.card p {margin: .15rem 0} .bar {display: block; width: 100%; height: 16px; margin: .2rem 0}
table {border-collapse: collapse; width: 100%; font-size: .9rem; margin: .6rem 0; font-variant-numeric: tabular-nums lining-nums}
caption {text-align: left; font-weight: 600; padding-bottom: .2rem}
th {text-align: left; vertical-align: bottom; border-bottom: 1.5px solid #000; padding: .2rem .5rem .2rem 0}
td {vertical-align: top; border-bottom: 1px solid #aaa; padding: .2rem .5rem .2rem 0} .number {text-align: right}
figure {margin: .8rem 0} figure img {width: 100%; height: auto} .notice {border: 2.5px solid #000; padding: .5rem .8rem; margin: .8rem 0}
.notice.calm {border: 1px solid #777} .notice ul {margin: .25rem 0 0} ul.tick {list-style: "☐  "} .line {border-bottom: 1px solid #777; height: 2rem}
footer {border-top: 1px solid #777; margin-top: 1.4rem; padding-top: .4rem}
@media PHONE {
  .pair {grid-template-columns: 1fr; gap: 0}
  .many thead {display: none} .many tr {display: block; border-bottom: 1px solid #aaa; padding: .3rem 0}
  .many td {display: flex; gap: .8rem; border: 0; padding: .1rem 0; text-align: left}
  .many td::before {content: attr(data-title); flex: 0 0 38%; color: #333} .many td[data-title=""]::before {display: none}
  .many td:empty::after {content: "–"; color: #333}
  .notice ul, ul.tick {padding-left: 1.4rem}
}
@media print {body {margin: 0; padding: 0; max-width: none; font-size: 10.5pt} .break {break-before: page}
  .card, figure, .notice, tr {break-inside: avoid} .cards {grid-template-columns: repeat(4, 1fr)} .pair {grid-template-columns: 1fr 1fr}}
""".replace("PHONE", PHONE)


def web_page(document: Document) -> bytes:
    """The document as HTML in UTF-8. The same document gives the same bytes."""
    body = "\n".join(_block(one) for one in document.blocks)
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{_text(document.title)}</title><style>{STYLE}</style></head><body>"
        f'<main><h1>{_text(document.title)}</h1><p class="quiet">{_text(document.about)}</p>\n{body}\n</main>'
        f'<footer class="quiet">{_text(document.footer)}</footer></body></html>\n'
    ).encode("utf-8", "replace")


def _text(text: str) -> str:
    return html.escape(paper.breakable(text)).replace("\n", "<br>").replace(paper.ZERO_WIDTH_SPACE, "<wbr>")


def _block(one: Any) -> str:
    return _DRAWN[type(one)](one)


def _blocks(many: tuple[Any, ...]) -> str:
    return "".join(_block(one) for one in many)


def _items(items: tuple[str, ...], kind: str = "") -> str:
    return f"<ul{kind}>{''.join(f'<li>{_text(item)}</li>' for item in items)}</ul>"


def _card(card: paper.Card) -> str:
    bar = ""
    if card.bar is not None:
        low, high, value = card.bar
        bar = (
            '<svg class="bar" viewBox="0 0 100 16" preserveAspectRatio="none" aria-hidden="true">'
            '<rect x="0" y="7.4" width="100" height="1.2" fill="#777"/>'
            f'<rect x="{low:.1f}" y="4" width="{max(high - low, 0.6):.1f}" height="8" fill="#b5b5b5"/>'
            f'<rect x="{value - 0.4:.1f}" y="1" width=".8" height="14" fill="#000"/></svg>'
        )
    lines = "".join(f'<p class="quiet">{_text(line)}</p>' for line in card.lines)
    return (
        f'<div class="card{"" if card.is_known else " unknown"}"><b>{_text(card.label)}</b>'
        f'<div class="value">{_text(card.value)}</div>{bar}<p>{_text(card.reach)}</p>{lines}</div>'
    )


def _chart(one: paper.Chart) -> str:
    narrow = f'<source media="{PHONE}" srcset="{_address(one.narrow_svg)}">' if one.narrow_svg else ""
    caption = f'<figcaption class="quiet">{_text(one.caption)}</figcaption>' if one.caption else ""
    picture = f'<picture>{narrow}<img alt="{html.escape(one.alt)}" src="{_address(one.svg)}"></picture>'
    return f"<figure>{picture}{caption}</figure>"


def _address(svg: str) -> str:
    return f"data:image/svg+xml;base64,{base64.b64encode(svg.encode()).decode()}"


def _table(one: paper.Table) -> str:
    kinds = [' class="number"' if kind == "number" else "" for _, kind in one.columns]
    head = "".join(
        f'<th scope="col"{kind}>{_text(title)}</th>' for (title, _), kind in zip(one.columns, kinds, strict=True)
    )
    rows = "".join(
        "<tr>"
        + "".join(
            f'<td{kind} data-title="{html.escape(paper.breakable(title))}">{_text(cell)}</td>'
            for cell, kind, (title, _) in zip(row, kinds, one.columns, strict=True)
        )
        + "</tr>"
        for row in one.rows
    )
    caption = f"<caption>{_text(one.caption)}</caption>" if one.caption else ""
    note = f'<p class="quiet">{_text(one.note)}</p>' if one.note else ""
    many = ' class="many"' if len(one.columns) > 2 else ""
    return f"<table{many}>{caption}<thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>{note}"


def _bullets(one: paper.Bullets) -> str:
    title = f"<p><b>{_text(one.title)}</b></p>" if one.title else ""
    return title + _items(one.items, ' class="tick"' if one.is_ticked else "")


def _notice(one: paper.Notice) -> str:
    return f'<aside class="notice{" calm" if one.is_calm else ""}"><b>{_text(one.title)}</b>{_items(one.items)}</aside>'


_DRAWN: dict[type, Any] = {
    paper.Lead: lambda one: f'<p class="lead">{_text(one.text)}</p>',
    paper.Heading: lambda one: f"<h2>{_text(one.text)}</h2>",
    paper.Text: lambda one: f"<p{' class=quiet' if one.is_quiet else ''}>{_text(one.text)}</p>",
    paper.Cards: lambda one: f'<div class="cards">{"".join(map(_card, one.cards))}</div>',
    paper.Chart: _chart,
    paper.Table: _table,
    paper.Bullets: _bullets,
    paper.Notice: _notice,
    paper.Lines: lambda one: f"<p><b>{_text(one.title)}</b></p>" + '<div class="line"></div>' * one.n,
    paper.Pair: lambda one: f'<div class="pair"><div>{_blocks(one.left)}</div><div>{_blocks(one.right)}</div></div>',
    paper.PageBreak: lambda one: '<div class="break"></div>',
}
