"""Amounts in a currency the reader chose: on cards, in tables, charts, sentences and files, with the rate beside them."""

from __future__ import annotations

import io
import json
import re
import shutil
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pyarrow as pa
import pytest
from page_texts import assert_drawn, opened, said
from shown_texts import everything
from streamlit.testing.v1 import AppTest
from typer.testing import CliRunner

from dashboard import code_names, download, exchange, exports, figures_access, reader_choice, roles, store_access, words
from dashboard.commands import app
from dashboard.printed import packs
from models.figures.published import as_json
from models.figures.scope import Scope
from models.figures.sidecar import figures_for
from models.figures.waste import Waste
from models.figures.waste_sentences import with_what_if_sentence
from models.methods.estimate import Estimate
from models.methods.numeral import canonical

SETTINGS = "labour_cost_per_hour = 80.0\ntrip_cost = 60.0\n"
RATES = "exchange_rates_on = 2026-11-02\n[exchange_rates]\nEUR = 0.92\nJPY = 150.25\n"
RATE = 0.92
LINE = "Amounts in EUR at 0.92 for 1 USD, the rate of 2 Nov 2026 in settings.toml."
# What the settings say stays in the company's currency, and so does the line that tells the rate.
OF_SETTINGS = re.compile(r"(labour at|a trip costs|for a test .{0,60} at) [\d.,]+ USD")


def copied(fleet_home: Path, home: Path, settings: str) -> Path:
    shutil.copytree(fleet_home, home)
    (home / "settings.toml").write_text(settings, "utf-8")
    return home


@pytest.fixture(scope="module")
def exchange_home(fleet_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return copied(fleet_home, tmp_path_factory.mktemp("exchange") / "home", SETTINGS + RATES)


@pytest.fixture(scope="module")
def company_home(fleet_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same without a rate of exchange."""
    return copied(fleet_home, tmp_path_factory.mktemp("company") / "home", SETTINGS)


def on_record() -> Waste:
    """Parts waste as it is kept, in the company's currency."""
    return figures_for(store_access.store(), store_access.settings()).waste


@pytest.fixture
def kept(served_home: Path, monkeypatch: pytest.MonkeyPatch) -> Waste:
    """The same, with a saving, which this small fleet is too small to tell."""
    what_if = with_what_if_sentence(Estimate(4321.0, 1234.0, 9876.0, 6, 1.0, "simulated"), "USD")
    found, part = replace(on_record(), what_if=what_if), figures_access._part
    monkeypatch.setattr(figures_access, "_part", lambda name, scope: found if name == "waste" else part(name, scope))
    return found


def money(amount: float | None, code: str = "EUR") -> str:
    assert amount is not None
    return words.money(amount * (RATE if code == "EUR" else 1), code)


def drawn(test: AppTest) -> tuple[dict, pd.DataFrame]:
    """The chart of months: its description, and the bars it draws."""
    one = next(one for one in test.get("vega_lite_chart") if "cost of swaps of good switches" in one.proto.spec)
    frames = [pa.ipc.open_stream(data.data.data).read_pandas() for data in one.proto.datasets]
    return json.loads(one.proto.spec), next(frame for frame in frames if "amount" in frame)


@pytest.mark.parametrize("served_home", ["exchange_home"], indirect=True)
def test_parts_waste_stands_in_the_readers_currency(served_home: Path, kept: Waste) -> None:
    test = opened("parts_waste", money_in="EUR")
    assert_drawn(test)
    text = said(test)
    # The answer and the cards, with their ranges; what they are made of; the credit.
    for amount in (
        kept.known.value,
        kept.estimated.value,
        kept.what_if.value,
        kept.credit["credited"],
        *kept.parts.values(),
    ):
        assert money(amount) in text
    for estimate in (kept.estimated, kept.what_if):
        assert f"etween {money(estimate.low).removesuffix(' EUR')} and {money(estimate.high)}" in text
    # The sentence of the card, made again.
    what_if = kept.what_if
    assert (
        f"At the rate of the best quarter of technicians about {money(what_if.value)} a year would not be spent" in text
    )
    # The bench programme has amounts of its own.
    assert re.search(r"bench tests took about [\d,]+ EUR of labour", text)
    assert f"whose swaps had cost {money(kept.known.value)}" in text
    assert text.count(LINE) == 2
    left = OF_SETTINGS.sub("", everything(test).replace(LINE, ""))
    assert [match[0] for match in re.finditer(r".{0,50}USD.{0,20}", left)] == ["USD"], "the choice alone names it"
    # What one reader chose is not kept for the next.
    assert f"whose swaps had cost {money(kept.known.value, 'USD')}" in said(opened("parts_waste"))


@pytest.mark.parametrize("served_home", ["exchange_home"], indirect=True)
def test_tables_and_charts_hold_the_converted_amounts(served_home: Path) -> None:
    kept = on_record()
    test = opened("parts_waste", money_in="EUR")
    table = next(one for one in test.dataframe if "Known" in one.value)
    for title, name in (("Known", "known"), ("Estimated", "estimated"), ("Range from", "low"), ("Range to", "high")):
        expected = (kept.by_branch.sort_values("branch")[name] * RATE).round(0)
        pd.testing.assert_series_equal(table.value[title], expected, check_names=False, check_index=False)
        assert f"{title}, EUR" in table.proto.columns
    spec, bars = drawn(test)
    assert "switches, EUR" in json.dumps(spec) and "USD" not in json.dumps(spec)
    last = kept.by_month.tail(24)
    assert bars["amount"].sum() == pytest.approx(RATE * float(last["known"].sum() + last["estimated"].sum()))


@pytest.mark.parametrize("served_home", ["exchange_home"], indirect=True)
def test_the_choice_stands_in_the_address_and_goes_back(served_home: Path) -> None:
    kept = on_record()
    test = opened("parts_waste")
    assert money(kept.known.value, "USD") in said(test) and "Amounts in" not in said(test)
    box = test.selectbox(key="money_in_choice")
    assert box.options == ["USD", "EUR", "JPY"] and box.value == "USD"
    box.select("EUR").run()
    assert test.query_params["money_in"] in ("EUR", ["EUR"])
    assert money(kept.known.value) in said(test) and LINE in said(test)
    test.switch_page("views/missing.py").run()
    assert LINE in said(test) and test.selectbox(key="money_in_choice").value == "EUR"
    test.switch_page("views/parts_waste.py").run()
    test.selectbox(key="money_in_choice").select("USD").run()
    assert "money_in" not in test.query_params
    # What is kept for all readers was not changed on the way.
    assert money(kept.known.value, "USD") in said(test) and "Amounts in" not in said(test)


@pytest.mark.parametrize("served_home", ["exchange_home"], indirect=True)
def test_a_currency_without_a_rate_changes_nothing(served_home: Path) -> None:
    test = opened("parts_waste", money_in="CHF")
    assert test.selectbox(key="money_in_choice").value == "USD"
    assert money(on_record().known.value, "USD") in said(test) and "Amounts in" not in said(test)


@pytest.mark.parametrize("served_home", ["exchange_home"], indirect=True)
def test_the_rate_is_written_in_the_readers_separators(served_home: Path) -> None:
    told = said(opened("parts_waste", money_in="JPY", numbers="1.234,5"))
    assert "Amounts in JPY at 150,25 for 1 USD, the rate of 2 Nov 2026 in settings.toml." in told


@pytest.mark.parametrize("served_home", ["exchange_home"], indirect=True)
def test_ranges_of_money_on_what_is_missing_are_converted(served_home: Path) -> None:
    found = figures_for(store_access.store(), store_access.settings()).missing.figures
    line = found[found["unit"] == "money"].iloc[0]
    text = said(opened("missing", money_in="EUR"))
    assert LINE in text
    assert money(line["width_now"]) in text and f"at most {money(line['width_filled'])}" in text
    assert "USD" not in text.replace(LINE, "")


@pytest.mark.parametrize("served_home", ["exchange_home"], indirect=True)
def test_who_may_not_see_amounts_is_offered_no_currency(served_home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    may_see = roles.may_see
    monkeypatch.setattr(roles, "may_see", lambda name: name != "waste" and may_see(name))
    test = opened("missing", money_in="EUR")
    assert_drawn(test)
    assert "money_in_choice" not in {box.key for box in test.selectbox}
    assert "Amounts in" not in said(test) and "not shown" in said(test)


@pytest.mark.parametrize("served_home", ["company_home"], indirect=True)
def test_without_rates_there_is_no_choice(served_home: Path) -> None:
    test = opened("parts_waste", money_in="EUR")
    assert "money_in_choice" not in {box.key for box in test.selectbox}
    text = said(test)
    assert "Money is in USD, as the settings say; what is priced otherwise is not converted." in text
    assert "settings.toml gives rates of exchange: exchange_rates, and exchange_rates_on" in text
    assert money(on_record().known.value, "USD") in text and "EUR" not in everything(test)


@pytest.mark.parametrize(("address", "code"), [({}, "USD"), ({"money_in": "EUR"}, "EUR")])
@pytest.mark.parametrize("served_home", ["exchange_home"], indirect=True)
def test_files_name_the_currency_in_the_column(
    address: dict[str, str], code: str, served_home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept, made = on_record(), {}
    monkeypatch.setattr(download, "table", lambda frame, name, key: made.update({key: frame()}))
    opened("parts_waste", **address)
    amounts = {f"{title}, {code}" for title in ("Known", "Estimated", "Range from", "Range to")}
    for name in ("by_branch", "by_part", "by_technician"):
        assert amounts <= set(made[name].columns) and "Known" not in made[name], name
        assert "Swaps" in made[name] and "Bench good" in made[name], name
        written = pd.read_csv(io.BytesIO(exports.csv_bytes(made[name])))
        expected = (getattr(kept, name)["known"] * (RATE if code == "EUR" else 1)).round(0).sum()
        assert written[f"Known, {code}"].sum() == pytest.approx(expected), name


def test_a_file_made_later_keeps_the_currency(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reader_choice, "_chosen", lambda key: "EUR")
    later = reader_choice.keeping(reader_choice.currency)
    monkeypatch.undo()
    assert (reader_choice.currency(), later()) == ("", "EUR")


@pytest.mark.parametrize("served_home", ["exchange_home"], indirect=True)
def test_what_is_for_programs_and_commands_stays_in_the_companys(served_home: Path) -> None:
    assert exchange.chosen() is None and exchange.currency() == "USD"
    opened("parts_waste", money_in="EUR")
    published = as_json(figures_for(store_access.store(), store_access.settings()), "x")["waste"]
    assert published["currency"] == "USD" and "EUR" not in json.dumps(published)
    assert "USD" in canonical(on_record().known.sentence)


@pytest.mark.parametrize("served_home", ["exchange_home"], indirect=True)
def test_the_method_page_lists_the_rates(served_home: Path) -> None:
    text = said(opened("method"))
    assert "0.92 EUR for 1 USD and 150.25 JPY for 1 USD" in text
    assert re.search(r"Day on which these rates of exchange held\s*\|\s*2 Nov 2026", text)


def test_wrong_rates_are_told_by_a_command(fleet_home: Path, tmp_path: Path) -> None:
    home = copied(fleet_home, tmp_path / "home", "[exchange_rates]\nEUR = 0.92\n")
    done = CliRunner().invoke(app, ["figures", "--home", str(home)])
    assert done.exit_code and "exchange_rates_on" in str(done.output) + str(done.exception)


@pytest.mark.parametrize("served_home", ["exchange_home"], indirect=True)
def test_packs_hold_no_amount_that_could_be_converted(served_home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    one = store_access.row("SELECT technician_id AS one FROM draft_fault GROUP BY 1 ORDER BY count(*) DESC, 1")["one"]
    paid = "SELECT claim_id AS one, credited_amount, currency FROM warranty_claim WHERE outcome = 'paid' ORDER BY 1"
    claim = store_access.row(paid)

    def printed() -> list[packs.Document]:
        name_of = code_names.naming(False)
        return [
            packs.document(kind, Scope(), name_of, technician_id=one, claim_id=claim["one"], font=None)
            for kind in packs.KINDS
        ]

    as_recorded = printed()
    monkeypatch.setattr(reader_choice, "_chosen", lambda key: "EUR" if key == reader_choice.MONEY_KEY else "")
    assert exchange.currency() == "EUR"
    assert printed() == as_recorded
    amounts = [re.findall(r"[\d,.]+ (?:USD|EUR)\b", repr(document)) for document in as_recorded]
    told = words.money(claim["credited_amount"], claim["currency"])
    assert {kind: {*found} for kind, found in zip(packs.KINDS, amounts, strict=True) if found} == {"warranty": {told}}
