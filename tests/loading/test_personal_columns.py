"""Personal columns are dropped and named, and none of their text is kept or quoted."""

from __future__ import annotations

import json

import pytest


def test_personal_columns_are_dropped_named_and_not_kept_with_rows_held_back(desk, table, row):
    header = table().strip() + ",Customer Name,phone,e-mail"
    file = desk.load_text("visits.csv", table(row(1, kind="nonsense") + ",Ann Doe,555-0100,a@b.test", header=header))
    assert file.dropped_columns == ("Customer Name", "phone", "e-mail")
    assert "personal columns dropped: Customer Name, phone, e-mail." in file.messages
    raw = desk.rows("SELECT raw FROM held_back")[0][0]
    assert json.loads(raw)["visit_kind"] == "nonsense"
    assert "Ann" not in raw and "555" not in raw


PERSONAL = "site_id,region,customer_name,phone\n"


def test_no_text_of_spoiled_rows_is_kept_where_columns_are_personal(desk):
    file = desk.load_text(
        "sites.csv", PERSONAL + 'S1,North,Bob Roe,5\nS2,North,Ann Doe,5,x\nS3,N,"Ann" Doe,5\nS4,Ann Doe\n'
    )
    assert (file.n_accepted, file.n_held_back) == (1, 3)
    kept = desk.rows("SELECT raw, held_back::VARCHAR FROM held_back ORDER BY line_no")
    assert [json.loads(raw).get("fields") for raw, _ in kept] == [5, 4, 2]
    assert not any("Ann" in row or "Doe" in row for _, row in kept)
    lines = '{"site_id": "S1", "customer_name": "Bob Roe"}\n["Ann Doe"]\n'
    assert desk.load_text("sites.jsonl", lines).n_held_back == 1
    assert not any("Ann" in row for (row,) in desk.rows("SELECT held_back::VARCHAR FROM held_back"))


@pytest.mark.parametrize(
    "rows",
    [
        pytest.param("S1;North;Ann Doe;5\nS2;North;Ann Doe;6", id="another delimiter"),
        pytest.param('S1,N,"Ann Doe,5\nS2,N,Cy,6', id="never closed"),
        pytest.param('S1,"Ann,Doe,5\nS2,N",Cy,6\nS3,N,Di,7', id="closed in a later row"),
        pytest.param('S1,N,"Ann Doe,5\nS2,N,Cy",6\nS3,N,Di,7', id="in a personal column"),
    ],
)
def test_no_text_of_a_refused_file_is_quoted_where_columns_are_personal(desk, rows):
    error = desk.load_text("sites.csv", f"{PERSONAL}{rows}\n").error
    assert error and "Ann" not in error and "Doe" not in error
