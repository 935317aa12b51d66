"""A pack taken from a page is called as the command calls it: by the last day on record and the filters, before it is made."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest
from page_texts import assert_drawn, opened
from small_company import DAY, made_home

from dashboard import code_names, download, roles
from dashboard.printed import pack_names, packs
from models.figures.scope import Scope

EARLIER = Scope(end_on=dt.date(2020, 1, 1))
SINCE = Scope(start_on=DAY)


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    return made_home(tmp_path, monkeypatch)


@pytest.mark.parametrize("scope", [Scope(), SINCE, EARLIER], ids=["all", "since", "before the records"])
def test_the_name_is_that_of_the_document_made_later(home: Path, scope: Scope) -> None:
    with roles.whoever_has_the_files():
        name_of = code_names.naming()
        asked: list[tuple[str, str | None]] = [("week", None), ("season", None), ("closeout", None)]
        asked += [("coaching", "T0")] if scope != EARLIER else []
        for kind, technician in asked:
            document = packs.document(kind, scope, name_of, technician, None, None)
            name = pack_names.before_made(kind, scope, name_of, technician)
            assert name == pack_names.of_file(document.name, scope), kind
            assert scope == EARLIER or DAY.isoformat() in name
            assert ("from" in name or "until" in name) == (not scope.is_everything)


def test_the_buttons_of_a_page_name_the_day_and_the_filters(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    named: dict[str, str] = {}
    drawn = download.st.download_button

    def noted(label: str, *rest: Any, key: str, file_name: str, **more: Any) -> Any:
        named[key] = file_name
        return drawn(label, *rest, key=key, file_name=file_name, **more)

    monkeypatch.setattr(download.st, "download_button", noted)
    test = opened("this_week")
    assert_drawn(test)
    assert named["pack_week_a4"] == f"week_{DAY}_a4.pdf" and named["pack_week_html"] == f"week_{DAY}.html"
    test.selectbox(key="period").set_value("Chosen dates").run()
    test.date_input(key="dates").set_value((DAY, DAY)).run()
    assert_drawn(test)
    assert named["pack_week_a4"].startswith(f"week_{DAY}_from_") and named["pack_week_a4"].endswith("_a4.pdf")


def test_a_name_holds_no_sign_that_a_file_may_not() -> None:
    assert pack_names.of_file(pack_names.of_document("warranty", DAY, 'C/1:"x"'), Scope()) == f"warranty_C_1_x__{DAY}"
