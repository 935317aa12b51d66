"""The long form in short: it goes on where it stopped, judges as it says, and its trials hold on a few tries."""

from __future__ import annotations

import json

import bars
import long_form
import numpy as np
import pytest
import trials


def made_fleet(seed: int, kind: str = "usual", low: float = 0.7, high: float = 0.9) -> dict:
    figure = {"value": (low + high) / 2, "low": low, "high": high, "truth": 0.8}
    names = ("good_switch_rate", "tested_only", "callbacks_with_cause", "callbacks_without_cause", "possible_with_cause",
             "possible_without_cause", "peak_condensate",
             "peak_blockage", "bounds")  # fmt: skip
    person = {"is_flagged": True, "is_compared": True, "true_excess": 0.0, "n": 9, "low": 0.1, "high": 0.5, "truth": 0.3,
              "value": 0.3, "raw": 0.2}  # fmt: skip
    rng = np.random.default_rng(seed)
    chance = rng.uniform(0.05, 0.95, 300)
    folds = np.column_stack([np.arange(300) % 5 + 1, chance, rng.random(300) < chance, np.ones(300), np.full(300, 0.5)])
    return {"seed": seed, "kind": kind, **{name: figure for name in names}, "technicians": [person], "folds": folds.tolist(),
            "long_run": {name: 0.8 for name in names}}  # fmt: skip


def judged(fleets: list[dict]) -> dict[str, dict]:
    return {row["id"]: row for row in bars.all_rows(fleets)}


def test_rows_say_what_was_kept_and_what_was_not():
    fleets = [made_fleet(seed) if seed % 20 else made_fleet(seed, low=0.85) for seed in range(40)]
    rows = judged([*fleets, made_fleet(1, "no_weak"), made_fleet(1, "by_result", low=0.95, high=0.99)])
    assert rows["coverage_good_switch_rate"]["value"] == 0.95 and rows["coverage_good_switch_rate"]["is_held"]
    assert not rows["coverage_technicians"]["is_held"], "100% is too many for a 95% range"
    assert rows["flags_false"]["value"] == 1 and not rows["flags_false"]["is_held"]
    assert rows["technicians_error"]["value"] == 0 and rows["technicians_error"]["is_held"]
    assert not rows["flags_no_weak"]["is_held"] and not rows["bounds_fleets"]["is_held"]
    assert rows["bias_adjusted"]["value"] == pytest.approx(0.00375, abs=1e-4) and rows["bias_adjusted"]["is_held"]
    # Predictions drawn to be right are found right.
    assert rows["classifier_slope"]["is_held"] and rows["classifier_skill"]["is_held"]


def test_ranges_of_a_day_say_how_wide_they_are_across_the_turn_of_the_year():
    def fleet(seed: int) -> dict:
        error = 4.0 if seed % 2 else -4.0
        day = {
            "value": (1.0 + error) % 365.25,
            "low": (1.0 + error - 9.8) % 365.25,
            "high": (1.0 + error + 9.8) % 365.25,
        }
        made = made_fleet(seed) | {"peak_condensate": day | {"truth": 1.0}}
        return made | {"long_run": made["long_run"] | {"peak_condensate": 1.0}}

    row = judged([fleet(seed) for seed in range(40)])["coverage_peak_condensate"]
    assert row["value"] == 1 and not row["is_held"]
    # A half width of 9.8 days stands for a standard error of 5, errors are 4.
    assert "The ranges are 1.25 times as wide as the errors found call for; the day found is +0.0 days" in row["note"]


def test_overconfident_predictions_are_found_out():
    fleets = [made_fleet(seed) for seed in range(10)]
    for fleet in fleets:
        fleet["folds"] = [[k, p**3 / (p**3 + (1 - p) ** 3), *rest] for k, p, *rest in fleet["folds"]]
    rows = judged(fleets)
    assert not rows["classifier_slope"]["is_held"] and not rows["classifier_calibration"]["is_held"]


def test_it_goes_on_where_it_stopped(tmp_path, monkeypatch, capsys):
    out, table = tmp_path / "fleets.jsonl", tmp_path / "table.json"
    wanted = list(long_form.jobs(10))
    assert len(wanted) == 14 and len(set(wanted)) == 14
    stamp = long_form.stamp_of(20_000)
    lines = [json.dumps({"stamp": stamp, **made_fleet(seed, kind)}) for kind, seed in wanted]
    other = json.dumps({"stamp": "made by other code", **made_fleet(wanted[-1][1], wanted[-1][0])})
    # The last line was cut short by a stop.
    out.write_text("\n".join([other, *lines[:-1]]) + "\n" + lines[-1][:50], "utf-8")
    asked = []

    def instead(missing, given, stamp):
        asked.extend(missing)
        with given.out.open("a", encoding="utf-8") as file:
            file.write("\n" + lines[-1] + "\n")

    monkeypatch.setattr(long_form, "_run", instead)
    arguments = ["--fleets", "10", "--out", str(out), "--table", str(table), "--trials", "0"]
    assert long_form.main(arguments) == 0
    assert asked == wanted[-1:]
    made = json.loads(table.read_text("utf-8"))
    assert made["n_fleets"] == 10 and {row["id"] for row in made["rows"]} >= {"bounds_fleets", "flags_no_weak"}
    assert "13 already in" in capsys.readouterr().out


def test_trials_on_arrays_hold_on_a_few_tries():
    rows = {row["id"]: row for row in trials.rows(np.random.default_rng(70), 100)}
    for name in ("bounds_trials", "control_signals"):
        assert rows[name]["is_held"], rows[name]
    # Within what so few tries can tell of the promise.
    assert abs(rows["coaching_bias"]["value"]) <= 0.005 + 2.6 * rows["coaching_bias"]["error"]
    assert rows["coaching_type_1"]["value"] <= 0.055 + 2.6 * 0.0218
    assert rows["coverage_callbacks_few_sites"]["value"] >= 0.935 - 2.6 * 0.0154
    assert rows["coaching_bias"]["note"].startswith("A plain before-and-after shows -")


@pytest.mark.recovery
def test_the_long_run_agrees_with_what_happens():
    found = [long_form.one_fleet("usual", seed, 6_000) for seed in range(1, 13)]
    for name in ("good_switch_rate", "callbacks_with_cause", "callbacks_without_cause"):
        gap = np.array([fleet[name]["truth"] - fleet["long_run"][name] for fleet in found])
        assert abs(gap.mean()) < 3.2 * gap.std(ddof=1) / np.sqrt(gap.size), name
