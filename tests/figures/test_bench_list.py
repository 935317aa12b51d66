"""The bench list: who is eligible, chances that add up, and a rate from the draw that is right on average."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from models.figures.bench_list import bench_list
from models.methods.double_sampling import horvitz_thompson_rate
from models.methods.probability_sampling import inclusion_probabilities, systematic_draw
from pipelines.settings import Settings

LAST_ON = date(2024, 3, 31)


@pytest.fixture
def shelf(store, put_swaps):
    """60 switches of 6 technicians in the last week, by how they were diagnosed, and five that must stay off the list."""
    who = np.repeat([f"t{i}" for i in range(6)], [2, 4, 6, 10, 14, 24])
    n = who.size
    evidence = np.where(np.arange(n) % 3 == 0, "no_reading", "condemnation_not_supported")
    removed = [LAST_ON - timedelta(days=int(d)) for d in np.arange(n) % 7]
    off = {
        "tags": ["LATE", None, "TESTED", "TWICE", "TWICE"],
        "days": [LAST_ON - timedelta(days=14), *[LAST_ON - timedelta(days=2)] * 4],
        "verdicts": [None, None, "inconclusive", None, None],
    }
    put_swaps(
        technician_id=[*who, *["t0"] * 5],
        evidence=[*evidence, *["no_reading"] * 5],
        swapped_on=[*removed, *off["days"]],
        removed_tag=[*[f"TAG{i:02d}" for i in range(n)], *off["tags"]],
        verdict=[*[None] * n, *off["verdicts"]],
    )
    return store


def test_only_untested_tagged_and_young_enough_switches_are_drawn(shelf, settings):
    found = bench_list(shelf, settings, n_drawn=1000)
    assert found.n_eligible == 60 and found.as_of == LAST_ON
    assert sorted(found.list["removed_tag"]) == [f"TAG{i:02d}" for i in range(60)]
    assert (found.list["selection_probability"] == 1).all()
    assert "1000 were asked for" in found.sentence
    # A switch removed 13 days ago can still be tested tomorrow and be found good; one of 14 days cannot.
    assert "LATE" in set(bench_list(shelf, settings, 1000, as_of=LAST_ON - timedelta(days=1)).list["removed_tag"])


def test_the_same_seed_draws_the_same_list(shelf, settings):
    first, again, other = (bench_list(shelf, settings, 15, seed=seed).list for seed in (3, 3, 4))
    assert first.equals(again) and not first.equals(other)
    assert len(first) == 15 and first["selection"].eq("random").all()


def test_picks_are_added_marked_and_leave_the_draw_alone(shelf, settings):
    plain = bench_list(shelf, settings, 10, seed=5).list
    drawn, free = plain["removed_tag"].iloc[0], next(f"TAG{i:02d}" for i in range(60) if f"TAG{i:02d}" not in set(plain["removed_tag"]))  # fmt: skip
    found = bench_list(shelf, settings, 10, seed=5, picks=[drawn, free, free, "LATE", "TESTED", "TWICE", "NONE"])
    table = found.list
    assert table[table["selection"] == "random"].reset_index(drop=True).equals(plain)
    chosen = table[table["selection"] == "chosen"]
    assert chosen["removed_tag"].tolist() == [free] and chosen["selection_probability"].isna().all()
    assert set(found.refused) == {"LATE", "TESTED", "TWICE", "NONE"}
    assert "too long ago" in found.refused["LATE"] and "tested" in found.refused["TESTED"]


def test_an_empty_shelf_is_told(store, settings):
    found = bench_list(store, settings)
    assert found.list.empty and "No removed switch" in found.sentence


def test_a_draw_too_thin_for_the_rate_is_told(store, put_swaps, settings):
    put_swaps(swapped_on=[LAST_ON] * 300, removed_tag=[f"TAG{i}" for i in range(300)])
    assert "draw more" in bench_list(store, settings, 2).sentence
    assert "draw more" not in bench_list(store, settings, 20).sentence


@pytest.mark.parametrize("n_drawn", [0, 1, 7, 20, 55, 60])
def test_chances_add_up_and_small_strata_are_heard(n_drawn):
    stratum = np.repeat(list("abcdef"), [2, 4, 6, 10, 14, 24])
    chance = inclusion_probabilities(stratum, n_drawn)
    assert chance.sum() == pytest.approx(n_drawn) and (chance <= 1).all()
    for seed in range(20):
        drawn = systematic_draw(chance, stratum, np.random.default_rng(seed))
        assert drawn.sum() == n_drawn
        for one in "abcdef":
            expected = chance[stratum == one].sum()
            assert np.floor(expected - 1e-9) <= drawn[stratum == one].sum() <= np.ceil(expected + 1e-9)
    if 0 < n_drawn < 55:
        assert chance[0] > chance[-1] > 0


def test_every_switch_is_drawn_with_its_recorded_chance():
    stratum = np.repeat(list("abcdef"), [2, 4, 6, 10, 14, 24])
    chance, rng = inclusion_probabilities(stratum, 13), np.random.default_rng(60)
    share = np.mean([systematic_draw(chance, stratum, rng) for _ in range(20_000)], axis=0)
    assert share == pytest.approx(chance, abs=4.5 * np.sqrt(0.25 / 20_000))


def test_the_rate_from_repeated_draws_is_right_on_average(shelf, settings):
    """Who swaps most often pulls the most good ones, so an unweighted share of the draw would be off."""
    everyone = bench_list(shelf, settings, 1000).list.set_index("removed_tag")
    is_good = everyone["technician_id"].isin(["t4", "t5"])
    truth = is_good.mean()
    total, ratio, plain = [], [], []
    for seed in range(400):
        drawn = bench_list(shelf, settings, 20, seed=seed).list
        good = is_good[drawn["removed_tag"]].to_numpy(float)
        pi = drawn["selection_probability"].to_numpy(float)
        total.append((good / pi).sum() / len(everyone))
        ratio.append(horvitz_thompson_rate(good, pi, len(everyone)).value)
        plain.append(good.mean())
    error = np.std(total, ddof=1) / np.sqrt(len(total))
    assert abs(np.mean(total) - truth) < 3.5 * max(error, 0.001)
    assert abs(np.mean(ratio) - truth) < 0.01
    assert abs(np.mean(plain) - truth) > 0.05


def test_impossible_draws_are_named(shelf, settings):
    with pytest.raises(ValueError, match="n_drawn"):
        bench_list(shelf, settings, -1)
    with pytest.raises(ValueError, match="n_drawn"):
        inclusion_probabilities(["a"], 2)
    with pytest.raises(ValueError, match="whole number"):
        systematic_draw([0.5, 0.7], ["a", "b"], np.random.default_rng(1))


def test_a_switch_enters_one_draw_only(shelf, settings):
    """Offered twice, its chance would be larger than the one on record, and small strata would count too little."""
    everyone = bench_list(shelf, settings, 1000).list
    day = sorted(everyone["swapped_on"])[len(everyone) // 2]
    later = bench_list(shelf, settings, 1000, since=day.date() if hasattr(day, "date") else day)
    assert set(later.list["removed_tag"]) == set(everyone["removed_tag"][everyone["swapped_on"] > day])
    assert 0 < later.n_eligible < len(everyone) and "removed after the draw of" in later.sentence
    tag = everyone["removed_tag"][everyone["swapped_on"] <= day].iloc[0]
    found = bench_list(shelf, settings, 5, picks=[tag], since=day.date() if hasattr(day, "date") else day)
    assert found.refused == {tag: "was in the draw before"}


def test_a_switch_of_a_kept_list_is_never_drawn_again_nor_one_whose_test_was_entered(shelf, settings):
    found = bench_list(shelf, settings, 1000, picks=["TAG07"], drawn={"TAG07", "TAG08"}, entered={"TAG09"})
    assert found.n_eligible == 57 and not {"TAG07", "TAG08", "TAG09"} & set(found.list["removed_tag"])
    assert found.refused == {"TAG07": "stands in a list that is kept"}


def test_the_pool_says_what_was_drawn_from_and_what_was_left_out_and_why(shelf, settings):
    found = bench_list(shelf, settings, 5, drawn={"TAG07"})
    assert found.left_out == {
        "tested already": 1, "stands in a list that is kept": 1,
        "removed too long ago: a test could no longer find it good": 1, "has no tag": 1, "several switches bear this tag": 2,
    }  # fmt: skip
    assert found.n_eligible + sum(found.left_out.values()) == 65
    assert found.pool == (
        "Drawn from: switches removed from 2024-03-18 to 2024-03-31 that bear a tag of their own and were neither tested nor "
        "drawn yet. A test later than 14 days after removal can no longer find a switch good. Of 65 removed by 2024-03-31, "
        "59 could be drawn; left out: 6 (1 tested already; 1 drawn already, in a list that is kept; 1 too old, removed before "
        "2024-03-18; 1 without a tag; 2 with a tag that several switches bear)."
    )


def test_the_days_of_the_pool_are_those_of_the_setting_and_of_the_draw_before(shelf):
    assert "removed from 2024-03-29 to 2024-03-31" in bench_list(shelf, Settings(maximum_days_to_bench=3)).pool
    before = bench_list(shelf, Settings(), since=LAST_ON - timedelta(days=2))
    assert "removed from 2024-03-30 to 2024-03-31" in before.pool
    n = before.left_out["was in the draw before"]
    assert n == 42 and f"{n} removed by the day of the draw before, 2024-03-29" in before.pool
    assert "nothing to draw from yet" in bench_list(shelf, Settings(), since=LAST_ON).pool
