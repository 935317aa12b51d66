"""Parts waste for the owner: claims with their pack by a button, and what the bench programme costs and returns."""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from page_texts import APP, SECONDS, assert_drawn, said
from streamlit.testing.v1 import AppTest

from dashboard import bench_return, download, figures_access, lookups, roles, sign_in, visit_table, warranty_claims
from dashboard.printed import warranty, web_page
from models.figures.bench_programme import BenchProgramme
from models.figures.scope import Scope
from models.methods.estimate import Estimate, unknown
from pipelines.loading import load

EMAIL = "{}@company.example"
PEOPLE = "\n".join(f'[people."{EMAIL.format(role)}"]\nrole = "{role}"' for role in ("owner", "trainer"))


@pytest.fixture
def home(fleet_home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    shutil.copytree(fleet_home, tmp_path / "home")
    (tmp_path / "home" / "settings.toml").write_text(f"labour_cost_per_hour = 80.0\n{PEOPLE}\n", "utf-8")
    monkeypatch.setenv("GOODPULL_HOME", str(tmp_path / "home"))
    monkeypatch.setenv(sign_in.FLAG, "on")
    return tmp_path / "home"


def test_where_amounts_add_up_it_is_said_that_each_is_rounded(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sign_in, "email", lambda: EMAIL.format("owner"))
    waste = figures_access.waste(Scope())
    kinds = ("part", "labour", "trip", "callbacks")
    total = sum(waste.parts[kind] for kind in kinds) - waste.parts["credit_received"]
    assert total == pytest.approx(waste.known.value + waste.estimated.value)
    test = AppTest.from_file(str(APP), default_timeout=SECONDS)
    test.user = {"is_logged_in": True, "email": EMAIL.format("owner")}
    test.run()
    assert_drawn(test)
    rounded = "Each amount is rounded by itself, so sums may differ in the last digit."
    assert f"not of their figures. {rounded}" in said(test)
    assert f"Together the known and the estimated amount above. {rounded}" in said(test)


def test_the_owner_prints_the_pack_of_a_claim(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sign_in, "email", lambda: EMAIL.format("owner"))
    claims = lookups.claims(Scope())
    assert len(claims) and set(claims["outcome"]) <= {"refused", "open"} and claims["claim_id"].is_unique
    shown = warranty_claims.table(claims)
    refused = shown[shown["Outcome"].eq("refused")]
    assert len(refused) and refused["Reason as given"].str.len().gt(0).all()
    files: dict[str, Any] = {}
    drawn = download.st.download_button

    def noted(*arguments: Any, **more: Any) -> bool:
        files[more["key"]] = (more["data"], more["file_name"])
        return drawn(*arguments, **more)

    monkeypatch.setattr(download.st, "download_button", noted)
    test = AppTest.from_file(str(APP), default_timeout=SECONDS)
    test.user = {"is_logged_in": True, "email": EMAIL.format("owner")}
    test.run()
    assert_drawn(test)
    assert not [key for key in files if key.startswith("pack_warranty")], "no pack before a claim is chosen"
    text = said(test)
    assert "What the bench programme costs and returns" in [header.value for header in test.header]
    assert "15 minutes for a test" in text
    assert "Found is not saved" in text
    one = str(claims["claim_id"].iloc[0])
    (box,) = [box for box in test.selectbox if box.label == "Claim"]
    box.select(one).run()
    assert_drawn(test)
    made, name = files["pack_warranty_html"]
    assert re.fullmatch(rf"warranty_{one}_\d{{4}}-\d\d-\d\d\.html", name), name
    assert f"Warranty claim {one}" in made().decode()
    # Of a claim that was paid, too, though the page does not list it.
    paid = str(lookups.claims(Scope(), ("paid",))["claim_id"].iloc[0])
    assert paid not in set(claims["claim_id"])
    (box,) = [box for box in test.selectbox if box.label == "Claim"]
    box.select(paid).run()
    assert_drawn(test)
    assert files["pack_warranty_html"][1].startswith(f"warranty_{paid}_")
    # The trainer may not, whenever the file is asked for.
    monkeypatch.setattr(sign_in, "email", lambda: EMAIL.format("trainer"))
    assert not roles.may_have_pack("warranty")
    for ask in (lambda: lookups.claims(Scope()), lambda: bench_return.show(Scope())):
        with pytest.raises(roles.NotAllowed):
            ask()


def test_a_long_list_of_claims_is_cut_and_any_other_is_typed(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sign_in, "email", lambda: EMAIL.format("owner"))
    monkeypatch.setattr(warranty_claims, "LISTED", 2)
    files: dict[str, Any] = {}
    packs: list[Any] = []
    monkeypatch.setattr(download, "table", lambda whole, name, key: files.update({key: whole()}))
    monkeypatch.setattr(download, "pack", lambda kind, scope, *who, **more: packs.append((kind, more)))
    claims = lookups.claims(Scope())
    paid = str(lookups.claims(Scope(), ("paid",))["claim_id"].iloc[-1])
    assert len(claims) > 2
    test = AppTest.from_file(str(APP), default_timeout=SECONDS)
    test.user = {"is_logged_in": True, "email": EMAIL.format("owner")}
    test.run()
    assert_drawn(test)
    assert f"The newest 2 of {len(claims)} stand here; the file holds all." in said(test)
    assert len(files["claims"]) == len(claims), "the file holds every claim"
    (box,) = [box for box in test.selectbox if box.label == "Claim"]
    assert len(box.options) == 2
    (typed,) = [box for box in test.text_input if box.label == "or any claim by its id"]
    typed.set_value("no-such").run()
    assert_drawn(test)
    assert "Claim no-such is not on record for these filters." in said(test).replace("\\", "")
    assert not [more for kind, more in packs if kind == "warranty"]
    (typed,) = [box for box in test.text_input if box.label == "or any claim by its id"]
    typed.set_value(f" {paid} ").run()
    assert_drawn(test)
    assert ("warranty", {"claim_id": paid}) in packs
    assert f"The pack is of claim {paid}." in said(test), "whatever the list shows"
    # Who was sent a claim that the list does not hold gets it, too.
    test = AppTest.from_file(str(APP), default_timeout=SECONDS)
    test.user = {"is_logged_in": True, "email": EMAIL.format("owner")}
    test.query_params["claim"] = paid
    test.run()
    assert test.selectbox(key="claim_choice").value == paid


def programme(**more: Any) -> BenchProgramme:
    """Five tests at 12 minutes and 80 an hour: 80. Two good ones found that had cost 70; 25 credited; 40 narrower."""

    def money(value: float, n: int) -> Estimate:
        return Estimate(value, value, value, n, None, "")

    claims = {f"n_{outcome}{ending}": 1 for outcome in ("paid", "refused", "open") for ending in ("", "_untested")}
    given: dict[str, Any] = {
        "n_tests": 5, "n_tested": 4, "n_untied": 0, "minutes": 12.0, "cost": money(80, 5), "found": money(70, 2),
        "credit": money(25, 1), "claims": claims, "without": (0.0, 100.0), "with_tests": (60.0, 120.0),
        "narrowing": money(40, 8), "assumption": "Assumed.", "currency": "USD",
    }  # fmt: skip
    return BenchProgramme(**given | more)


def test_the_answer_sets_cost_against_return() -> None:
    told = bench_return.answer(programme())
    for part in ("5 bench tests took about", "80", "2 good switches found", "70", "25", "0", "100"):
        assert part in told, part
    without_rate = bench_return.answer(programme(cost=unknown("No rate.", 5)))
    assert "labour whose cost is not known" in without_rate and "about 80" not in without_rate
    nothing = bench_return.answer(programme(n_tests=0, n_tested=0))
    assert nothing.startswith("No bench test of these switches is on record")
    unclear = bench_return.answer(programme(narrowing=unknown("No price.", 0), without=None, with_tests=None))
    assert "cannot be told yet" in unclear
    unpriced = bench_return.answer(programme(found=unknown("No price.", 2), credit=unknown("Other currency.", 1)))
    assert "an amount that is not known" in unpriced and "a credit not known" in unpriced


def test_a_claim_without_a_reason_says_so() -> None:
    claims = pd.DataFrame(
        {"claim_id": ["C1", "C2", "C3"], "filed_on": None, "decided_on": None, "outcome": ["refused", "open", "refused"],
         "refusal_reason": [" ", None, "no tag"], "part_number": "P", "visit_id": "V", "verdict": [None, "good", "faulty"]}
    )  # fmt: skip
    shown = warranty_claims.table(claims)
    assert shown["Reason as given"].tolist() == ["no reason given", "", "no tag"]
    assert shown["Outcome"].tolist() == ["refused", "not decided yet", "refused"]


def test_a_claim_shows_the_part_of_its_own_switch(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two switches pulled on one visit: a claim names one of them by its tag, another neither."""
    files = {
        "visits.csv": "visit_id,site_id,technician_id,arrived_at,visit_kind,symptom,is_declared_complete\n"
        "V1,S1,T1,2026-01-05T10:00:00Z,no_heat,draft_not_proven,yes\n",
        "part_lines.csv": "visit_id,line_no,part_class,part_number,quantity,removed_tag\n"
        "V1,1,draft_switch,P-A,1,TAG-A\nV1,2,draft_switch,P-B,1,TAG-B\n",
        "bench_tests.csv": "bench_test_id,removed_tag,visit_id,tested_at,pressure_unit,make_1,rated_make_pressure,"
        "is_diaphragm_torn\nB1,TAG-A,V1,2026-01-08T10:00:00Z,Pa,200,200,yes\nB2,TAG-B,V1,2026-01-08T10:00:00Z,Pa,200,200,no\n",
        "warranty_claims.csv": "claim_id,visit_id,removed_tag,filed_on,outcome\n"
        "C1,V1,TAG-A,2026-02-01,open\nC2,V1,TAG-B,2026-02-01,open\nC3,V1,,2026-02-01,open\nC4,V1,TAG-X,2026-02-01,open\n",
    }
    for name, text in files.items():
        (tmp_path / name).write_text(text, "utf-8")
    load(tmp_path, [tmp_path / name for name in files])
    monkeypatch.setenv("GOODPULL_HOME", str(tmp_path))
    with roles.whoever_has_the_files():
        claims = lookups.claims(Scope()).set_index("claim_id")
        packs = {claim: web_page.web_page(warranty.warranty_pack(claim)).decode() for claim in claims.index}
    assert claims.loc[["C1", "C2"], "part_number"].tolist() == ["P-A", "P-B"]
    assert claims["verdict"].fillna("").to_dict() == {"C1": "faulty", "C2": "good", "C3": "", "C4": ""}
    assert claims.loc[["C3", "C4"], "part_number"].isna().all()
    for claim, (tags, about) in {
        # claim: the switches whose bench result is shown, what the claim itself is told to be about
        "C1": ("A", ("TAG-A", "P-A", "found the removed switch faulty")),
        "C2": ("B", ("TAG-B", "P-B", "found the removed switch good")),
        "C3": (
            "AB",
            ("not known", "not known", "Which of the switches taken out on the visit is claimed is not on record"),
        ),
        "C4": ("", ("TAG-X", "not known", "No bench test of the removed switch is on record")),
    }.items():
        text = " ".join(re.sub(r"<[^>]+>", "|", packs[claim].replace("<wbr>", "")).split())
        tag, part, bench = about
        assert re.search(rf"Removed switch, tag[ |]+{tag}[ |]+Part number fitted[ |]+{part}[ |]", text), (claim, text)
        assert bench in text, (claim, text)
        assert set(re.findall(r"Bench: switch TAG-(\w), ", text)) == set(tags), claim
        assert ("Not on record: the tag" in text) == (tag == "not known"), claim
        assert ("Not on record: the part" in text) == (part == "not known"), claim
        assert ("Not on record: a clear bench result" in text) == (claim in ("C3", "C4")), claim


def test_days_in_a_table_are_shown_without_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    shown: dict[str, Any] = {}
    monkeypatch.setattr(visit_table.st, "dataframe", lambda frame, **more: shown.update(more))
    monkeypatch.setattr(visit_table.download, "table", lambda *_: None)
    days = pd.to_datetime(["2026-01-05", None])
    frame = pd.DataFrame({"Filed": days, "Loaded": pd.to_datetime(["2026-01-05 10:20", None]), "Rows": [1, 2]})
    visit_table.plain_table(frame, "x")
    formats = {name: column["type_config"].get("format") for name, column in shown["column_config"].items()}
    assert formats.get("Filed") == "D MMM YYYY" and "D MMM YYYY" not in (formats.get("Loaded"), formats.get("Rows"))
