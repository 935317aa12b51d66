"""The packs as files: pages, paper, the numbers of the published figures, and what must not be on them."""

from __future__ import annotations

import base64
import datetime as dt
import io
import json
import re
from dataclasses import asdict
from pathlib import Path

import pytest
from pypdf import PdfReader

from dashboard import code_names, store_access, theme, words
from dashboard.printed import drawing, packs, paper, typeset, web_page
from models.figures.published import as_json
from models.figures.scope import Scope
from models.figures.sidecar import figures_for
from pipelines.errors import GoodpullError
from pipelines.loading import load

SIZES = {"a4": (595, 842), "letter": (612, 792)}
HOSTILE = 'A #strong[x] $1$ <script>alert("1")</script> *b* _i_ @ref \\ ☃ 🔥 \u202e =1+1 `raw`'


def text_of(pdf: bytes) -> str:
    read = "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages)
    return " ".join(read.replace("\u200b", "").split())


def made(kind: str, is_code: bool = False, **more: str) -> paper.Document:
    return packs.document(kind, Scope(), code_names.naming(is_code), **more)


def a_technician() -> str:
    return store_access.row("SELECT technician_id AS one FROM draft_fault GROUP BY 1 ORDER BY count(*) DESC, 1")["one"]


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
@pytest.mark.parametrize("size", SIZES)
def test_week_is_two_pages_of_either_paper(served_home: Path, size: str) -> None:
    reader = PdfReader(io.BytesIO(typeset.pdf(made("week"), size)))
    assert len(reader.pages) == 2
    for page in reader.pages:
        assert (round(page.mediabox.width), round(page.mediabox.height)) == SIZES[size]


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_week_shows_the_numbers_of_the_published_figures(served_home: Path) -> None:
    store = store_access.store()
    published = as_json(figures_for(store, store_access.settings()), "x")
    pdf, page = text_of(typeset.pdf(made("week"))), web_page.web_page(made("week")).decode()
    page = re.sub(r"<[^>]+>", " ", page.replace("<wbr>", ""))
    month = published["callbacks"]["windows"]["30"]
    for told, unit in (
        (published["good_switch_rate"]["adjusted"], "share"),
        (month["with_cause"], "share"),
        (month["without_cause"], "share"),
        (month["difference"], "points"),
    ):
        assert told["value"] is not None
        for name in ("value", "low", "high"):
            shown = words.value_of(told[name], unit).removesuffix(" points")
            assert shown in pdf and shown in page, (name, shown)


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_safety_and_fairness_stand_on_the_paper(served_home: Path) -> None:
    claim = store_access.row("SELECT claim_id FROM warranty_claim ORDER BY 1")["claim_id"]
    for document in (
        made("week"),
        made("season"),
        made("coaching", technician_id=a_technician()),
        made("warranty", claim_id=claim),
    ):
        text = text_of(typeset.pdf(document))
        assert "Never bypass, adjust or substitute a safety switch" in text, document.title
        assert "never says that an appliance is safe" in text and "local code decide" in text
        assert not re.search(r"appliance is safe(?!\w)(?<!that an appliance is safe)", text)
    assert "must not decide pay or discipline" in text_of(typeset.pdf(made("week")))


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
@pytest.mark.parametrize("size", SIZES)
def test_a_claim_with_a_bench_test_keeps_to_one_page(served_home: Path, size: str) -> None:
    """Readings, checks, parts and a whole budget of the bench test among them."""
    claim = store_access.row(
        "SELECT c.claim_id FROM warranty_claim AS c JOIN swap_case AS s USING (visit_id) JOIN visit_check AS k USING (visit_id) "
        "WHERE s.verdict = 'good' AND s.has_gauge_reading GROUP BY 1 ORDER BY count(*) DESC, 1"
    )["claim_id"]
    reader = PdfReader(io.BytesIO(typeset.pdf(made("warranty", claim_id=claim), size)))
    assert len(reader.pages) == 1
    text = " ".join(reader.pages[0].extract_text().split())
    assert "Probability of lying within the tolerance" in text and "What is missing from this claim" in text


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_the_web_page_is_made_for_a_phone_too(served_home: Path) -> None:
    """A wide picture is drawn once more for it, and rows of many columns have their titles with them; none of it on paper."""
    page = web_page.web_page(packs.document("week", Scope(), code_names.naming(False), font=None)).decode()
    assert page.count(f'<source media="{web_page.PHONE}"') == 1
    assert not [one["narrow_svg"] for one in _charts(asdict(made("week"))["blocks"]) if one["narrow_svg"]]
    titles = (("Date", "text"), ("Visit", "text"), ("Margin", "number"))
    many, two = (web_page._block(paper.table(titles[:n], [("a", "", "1")[:n]], "")) for n in (3, 2))
    assert '<table class="many">' in many and '<td data-title="Visit"></td>' in many
    assert 'class="many"' not in two


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_coaching_hides_customers_and_shows_the_code_name(served_home: Path) -> None:
    one = a_technician()
    document = made("coaching", is_code=True, technician_id=one)
    text = text_of(typeset.pdf(document)) + web_page.web_page(document).decode()
    cases = re.findall(r"Case \d: visit (\S+),", text_of(typeset.pdf(document)))
    assert len(cases) == 3
    person = store_access.row("SELECT technician_id, technician_name FROM technician WHERE technician_id = ?", [one])
    assert person["technician_name"] not in text and one not in text
    for visit_id in cases:
        visit = store_access.row(
            "SELECT v.site_id, v.appliance_key, d.notes FROM visit AS v JOIN delivered.visits AS d USING (visit_id) "
            "WHERE visit_id = ?",
            [visit_id],
        )
        for hidden in filter(None, visit.values()):
            assert str(hidden) not in text, hidden
    assert code_names.naming(True)(one) in text and "Gauge reading of the draft" in text


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_an_unknown_id_is_refused_in_words(served_home: Path) -> None:
    with pytest.raises(GoodpullError, match="technician: got 'nobody'"):
        made("coaching", technician_id="nobody")
    with pytest.raises(GoodpullError, match="claim: got 'none'"):
        made("warranty", claim_id="none")
    with pytest.raises(GoodpullError, match="must be one of a4, letter"):
        typeset.pdf(made("week"), "a5")


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_the_same_records_give_the_same_bytes(served_home: Path) -> None:
    for kind in ("week", "season", "closeout"):
        first, second = made(kind), made(kind)
        assert typeset.pdf(first) == typeset.pdf(second)
        assert web_page.web_page(first) == web_page.web_page(second)


@pytest.mark.parametrize("served_home", ["one_visit_home", "unproven_home", "unclassed_home"], indirect=True)
@pytest.mark.parametrize("kind", ["week", "season", "closeout"])
def test_thin_records_are_printed_honestly(served_home: Path, kind: str) -> None:
    document = made(kind)
    text = text_of(typeset.pdf(document))
    for nothing in ("nan", "None", "NaT", "inf"):
        assert not re.search(rf"\b{nothing}\b", text.replace("None of", "")), text
    assert web_page.web_page(document).startswith(b"<!doctype html>")


def test_hostile_text_is_printed_as_text() -> None:
    blocks = (
        paper.Lead(HOSTILE),
        paper.table((("#h", "text"), ("$", "number")), [(HOSTILE, "W" * 300)], ""),
        paper.Bullets("#b", (HOSTILE,)),
        paper.Notice("<b>", (HOSTILE,)),
    )
    document = paper.Document(HOSTILE, HOSTILE, blocks, HOSTILE, dt.date(2026, 1, 5))
    text = text_of(typeset.pdf(document))
    for part in ("#strong[x]", "$1$", '<script>alert("1")</script>', "*b*", "_i_", "@ref", "(fire)", "=1+1", "`raw`"):
        assert part in text, part
    page = web_page.web_page(document).decode()
    assert "<script" not in page and "&lt;script&gt;" in page.replace("<wbr>", "")
    assert "\u202e" not in page and "🔥" in page


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_the_web_page_asks_for_nothing_outside(served_home: Path) -> None:
    page = web_page.web_page(made("week")).decode()
    assert "default-src 'none'" in page and "<script" not in page
    pictures = re.findall(r'src="data:image/svg\+xml;base64,([^"]+)"', page)
    assert len(pictures) == 3 and not re.findall(r'(?:src|href)="(?!data:)', page)
    for picture in pictures:
        drawn = base64.b64decode(picture).decode()
        assert not re.findall(r'(?:href|url\()["\']?https?:', drawn)


@pytest.mark.parametrize("served_home", ["fleet_home"], indirect=True)
def test_nothing_is_told_by_colour_alone(served_home: Path) -> None:
    """Every colour on the paper is a grey; what is told apart differs in shape or dash in the drawing itself."""
    document = made("week")
    charts = [one["svg"] for one in _charts(asdict(document)["blocks"])]
    assert len(charts) == 3
    for drawn in charts:
        for colour in re.findall(r"#([0-9a-fA-F]{6})\b", drawn):
            red, green, blue = (int(colour[place : place + 2], 16) for place in (0, 2, 4))
            assert red == green == blue, colour
    curve = charts[-1]
    assert re.search(r'stroke-dasharray="6,4"', curve)
    shades = drawing.PRINT
    for name in ("ink", "quiet", "main", "other", "aside", "alert"):
        assert theme.contrast(getattr(shades, name), shades.paper) >= 4.5, name


def _charts(blocks: list) -> list[dict]:
    found = []
    for one in blocks:
        if one["kind"] == "chart":
            found.append(one)
        elif one["kind"] == "pair":
            found += _charts([*one["left"], *one["right"]])
    return found


def test_a_week_with_many_open_items_still_keeps_to_two_pages(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import streamlit as st

    name = "M" * 60
    visits = ["visit_id,site_id,technician_id,arrived_at,visit_kind,symptom,cause_code,is_declared_complete"]
    lines = ["visit_id,line_no,part_class,quantity"]
    people = ["technician_id,technician_name"] + [f"T{number},{name} {number}" for number in range(9)]
    for number in range(60):
        day = f"2026-01-{1 + number % 28:02d}T10:00:00Z"
        cause = "exchanger_breached" if number % 2 else ""
        visits.append(
            f"V{'9' * 30}{number},S{'8' * 30}{number},T{number % 9},{day},no_heat,draft_not_proven,{cause},yes"
        )
        lines.append(f"V{'9' * 30}{number},1,draft_switch,1")
    for file, rows in (("visits", visits), ("part_lines", lines), ("technicians", people)):
        (tmp_path / f"{file}.csv").write_text("\n".join(rows) + "\n", "utf-8")
    home = tmp_path / "home"
    load(home, [tmp_path / f"{file}.csv" for file in ("visits", "part_lines", "technicians")])
    monkeypatch.setenv("GOODPULL_HOME", str(home))
    st.cache_data.clear()
    st.cache_resource.clear()
    for size in SIZES:
        reader = PdfReader(io.BytesIO(typeset.pdf(made("week"), size)))
        assert len(reader.pages) == 2
        assert "and 10 more" in " ".join(reader.pages[1].extract_text().split())


def test_what_is_packed_is_data_not_source() -> None:
    document = paper.Document("t", "a", (paper.Text("x"),), "f", dt.date(2026, 1, 5))
    assert json.loads(typeset._packed(document))["title"] == "t"
