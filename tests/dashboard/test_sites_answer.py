"""The answer of the page Sites: what is open is said by the records, and leads only where the reader may go."""

from __future__ import annotations

import pandas as pd
import pytest

from dashboard import roles
from dashboard.views import sites


def table(*n_open: int) -> pd.DataFrame:
    return pd.DataFrame({"is_safety": True, "is_flagged": True, "n_safety_open": list(n_open)})


@pytest.mark.parametrize(("role", "listed"), [("manager", " on This week"), ("trainer", "")])
def test_open_visits_are_counted_and_listed_where_the_reader_may_look(
    role: str, listed: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(roles, "person", lambda: roles.Person(role))
    found = sites._answer(table(2, 0), {"n_sites": 9})
    assert (
        found
        == f"2 sites with a safety reason on record, 1 of them still open (2 visits{listed}), of 9 sites on record."
    )


def test_nothing_open_is_said_of_the_records_and_not_of_the_appliance() -> None:
    assert "none of them still open by the records" in sites._answer(table(0), {"n_sites": 9})
