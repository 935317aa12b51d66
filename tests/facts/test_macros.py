"""The functions the SQL shares, against scipy."""

from __future__ import annotations

import duckdb
import numpy as np
import pytest
from scipy import stats

from pipelines.build import run_macros


@pytest.fixture
def con():
    connection = duckdb.connect()
    run_macros(connection)
    return connection


def test_normal_cdf_agrees_with_scipy_to_1e_12(con):
    """scipy.stats.norm.cdf (Cephes ndtr): our reading of a library's output."""
    z = np.concatenate([np.linspace(-40, 40, 160_001), [-7.07106781186547, 7.07106781186548, 0.0]])
    con.register("asked", {"z": z})
    got = con.execute("SELECT normal_cdf(z) AS p FROM asked").fetchnumpy()["p"]
    assert np.max(np.abs(got - stats.norm.cdf(z))) < 1e-12
    # far out the value itself is tiny; what the approximation keeps there, relative to the value
    lower = (z < 0) & (z > -30)
    assert np.max(np.abs(got[lower] / stats.norm.cdf(z[lower]) - 1)) < 1e-8


def test_normal_cdf_of_nothing_is_nothing(con):
    assert con.execute("SELECT normal_cdf(NULL)").fetchone() == (None,)


@pytest.mark.parametrize("n", [2, 3])
def test_few_readings_factor_is_the_ratio_of_quantiles(con, n):
    """scipy.stats.t and norm: our reading of a library's output."""
    got = con.execute("SELECT few_readings_factor(?::INTEGER)", [n]).fetchone()[0]
    assert got == pytest.approx(stats.t.ppf(0.975, n - 1) / stats.norm.ppf(0.975), rel=1e-12)


def test_gauge_limits_add_up_and_are_divided_by_the_root_of_three(con):
    ask = "SELECT gauge_uncertainty_pa(?::DOUBLE, ?::DOUBLE, ?::DOUBLE, ?::DOUBLE, 0.02)"
    for given, limits in [
        ((200, 500, 0.5, None), 2.5),
        ((200, None, None, 1.0), 2.0),
        ((200, 500, 0.5, 1.0), 4.5),
        ((200, None, None, None), 4.0),
        ((200, None, 0.5, None), 4.0),
    ]:
        assert con.execute(ask, list(given)).fetchone()[0] == pytest.approx(limits / np.sqrt(3)), given


def test_resolution_is_divided_by_the_root_of_twelve(con):
    assert con.execute("SELECT resolution_uncertainty_pa(1.0, 2.5)").fetchone()[0] == pytest.approx(1 / np.sqrt(12))
    assert con.execute("SELECT resolution_uncertainty_pa(NULL, 2.5)").fetchone()[0] == pytest.approx(2.5 / np.sqrt(12))


@pytest.mark.parametrize(
    ("group", "note", "is_described"),
    [
        ("air_path", "Found water in hose. Blew it out.", True),
        ("air_path", "no water in hose. Replaced switch.", False),
        ("air_path", "hose ok, port plugged with rust", True),
        ("air_path", "intake checked, clear", False),
        ("condensate", "Trap full of slime, cleaned", True),
        ("condensate", "condensate drain was frozen solid", True),
        ("condensate", "drain is not blocked", False),
        ("condensate", "replaced pressure switch", False),
        ("flue_path", "bird nest in the vent", True),
        ("flue_path", "vent never blocked", False),
        ("draft_fan", "inducer bearings noisy", True),
        ("electrical", "loose connector at the board", True),
        ("switch_itself", "diaphragm torn", True),
        ("switch_itself", "switch bad, replaced", False),
        ("heat_exchanger", "secondary heat exchanger plugged", True),
        ("installation", "safety switch was jumpered", True),
        ("none_found", "water in hose", False),
        (None, "water in hose", False),
    ],
)
def test_a_note_describes_a_finding_only_where_it_affirms_it(con, group, note, is_described):
    got = con.execute("SELECT describes(?::VARCHAR, ?::VARCHAR)", [group, note]).fetchone()[0]
    assert got is is_described
