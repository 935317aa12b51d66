"""The Records page says which mapping read a file, and gives it back as it was when it did."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import page_texts
import pytest
import streamlit as st

from dashboard import download, record_lookups, roles
from pipelines.errors import GoodpullError
from pipelines.loading import load
from pipelines.mapping.mapping_file import mapping_of
from pipelines.mapping.writing import version_path

TOML = """
name = "our calls"
confirmed = true
[[source]]
file = "calls*.csv"
[[source.table]]
table = "visits"
[source.table.columns]
visit_id = "Call"
site_id = "Site"
technician_id = "Tech"
arrived_at = "In"
visit_kind = { column = "Kind", codes = { "PM" = "maintenance" } }
"""
NEWER = TOML.replace('"PM" =', '"check" = "maintenance", "PM" =')


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A home with a file of the contract, and two files read by two versions of a mapping."""
    home = tmp_path / "home"
    plain = tmp_path / "visits.csv"
    plain.write_text("visit_id,site_id,technician_id,arrived_at,visit_kind\nV1,S1,T1,2025-01-05,no_heat\n")
    load(home, [plain])
    for number, toml in enumerate((TOML, NEWER)):
        path = tmp_path / f"calls_{number}.csv"
        path.write_text(f"Call,Site,Tech,In,Kind\nC{number},S1,T1,2025-02-05 08:00,PM\n")
        load(home, [path], mapping=mapping_of(toml))
    monkeypatch.setenv("GOODPULL_HOME", str(home))
    st.cache_data.clear()
    st.cache_resource.clear()
    return home


def test_the_ledger_names_mapping_and_version(home):
    with roles.whoever_has_the_files():
        told = dict(record_lookups.ledger()[["file", "mapping"]].itertuples(index=False))
        kept = record_lookups.mappings_of_loads()
    older, newer = mapping_of(TOML).digest, mapping_of(NEWER).digest
    assert told == {
        "visits.csv": "",
        "calls_0.csv": f"our calls, version {older}",
        "calls_1.csv": f"our calls, version {newer}",
    }
    assert [one.digest for one in kept] == [newer, older]


def test_the_page_shows_it_and_each_version_can_be_taken_away(home, monkeypatch):
    files: dict[str, Any] = {}
    drawn = download.st.download_button

    def noted(label: str, data: Any, file_name: str, *arguments: Any, **more: Any) -> bool:
        files[label] = (data, file_name)
        return drawn(label, data, file_name, *arguments, **more)

    page = page_texts.opened("records")
    page_texts.assert_drawn(page)
    older = mapping_of(TOML)
    assert f"our calls, version {older.digest}" in page_texts.said(page)
    monkeypatch.setattr(st, "download_button", noted)
    page.selectbox(key="mapping_of_load").select_index(1).run()
    page_texts.assert_drawn(page)
    data, file_name = files["Download this mapping (TOML)"]
    assert file_name == version_path(home, older).name
    text = data() if callable(data) else data
    assert mapping_of(text) == older


def test_without_its_copy_the_version_still_stands_in_the_ledger(home):
    version_path(home, mapping_of(TOML)).unlink()
    with roles.whoever_has_the_files():
        told = dict(record_lookups.ledger()[["file", "mapping"]].itertuples(index=False))
        assert told["calls_0.csv"] == f"version {mapping_of(TOML).digest}, no copy kept"
        with pytest.raises(GoodpullError, match="No copy"):
            record_lookups.mapping_text(mapping_of(TOML).digest)


def test_a_home_without_mapped_loads_offers_none(one_visit_home, monkeypatch):
    monkeypatch.setenv("GOODPULL_HOME", str(one_visit_home))
    st.cache_data.clear()
    st.cache_resource.clear()
    page = page_texts.opened("records")
    page_texts.assert_drawn(page)
    assert not [box for box in page.selectbox if box.key == "mapping_of_load"]
