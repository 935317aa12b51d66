"""Figures of a part of the fleet: kept ahead they are those worked out when asked for, and they go when they no longer hold."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, is_dataclass, replace
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pandas as pd
import pytest

from models.figures import narrowed, sidecar
from models.figures.callback_ends import callback_chains
from models.figures.callbacks import callbacks
from models.figures.coverage import coverage
from models.figures.scope import Scope
from models.figures.sites import sites
from models.figures.strata import swaps_for_rate
from pipelines.loading import load
from pipelines.settings import Settings
from pipelines.store import Store


@dataclass
class Kept:
    """A home whose frequent scopes have been worked out ahead."""

    store: Store
    path: Path
    settings: Settings
    con: Any
    n_made: int


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Kept]:
    from synthetic_data.generate import generate

    home = tmp_path_factory.mktemp("narrowed")
    generate(home, seed=1, visits=1_500)
    load(home, [home / "records"])
    store, settings = Store(home), Settings()
    path, con = store.current(), store.open_reader()
    assert path is not None
    assert narrowed.work_ahead(store, settings, con, path) == 0, (
        "without the whole fleet's figures there is nothing to do"
    )
    sidecar.figures_for(store, settings)
    # One period stands for all: what is made does not hang on which scope it is.
    scopes = narrowed.frequent_scopes
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(narrowed, "frequent_scopes", lambda con, settings: scopes(con, settings)[2:3])
        n_made = narrowed.work_ahead(store, settings, con, path)
        assert narrowed.work_ahead(store, settings, con, path) == 0, "what is there is not made again"
    yield Kept(store, path, settings, con, n_made)
    con.close()


def assert_same(left: Any, right: Any, where: str) -> None:
    """Equal through dataclasses, dictionaries, lists and frames; a missing number equals a missing number."""
    if isinstance(left, pd.DataFrame):
        # A list in a cell comes back from its file as an array.
        shown = [
            frame.reset_index(drop=True).map(lambda cell: tuple(cell) if isinstance(cell, list | np.ndarray) else cell)
            for frame in (left, right)
        ]
        pd.testing.assert_frame_equal(*shown, check_dtype=False, check_exact=True, obj=where)
    elif is_dataclass(left):
        for entry in fields(left):
            assert_same(getattr(left, entry.name), getattr(right, entry.name), f"{where}.{entry.name}")
    elif isinstance(left, dict):
        assert [*left] == [*right], where
        for name in left:
            assert_same(left[name], right[name], f"{where}.{name}")
    elif isinstance(left, list | tuple):
        assert len(left) == len(right), where
        for place, (one, other) in enumerate(zip(left, right, strict=True)):
            assert_same(one, other, f"{where}[{place}]")
    elif isinstance(left, float | np.floating) and np.isnan(left):
        assert np.isnan(right), where
    else:
        assert left == right, where


def test_the_frequent_scopes_are_periods_regions_and_kinds_by_themselves(kept: Kept) -> None:
    scopes = narrowed.frequent_scopes(kept.con, kept.settings)
    # Two periods may be the same days; they are worked out once all the same.
    assert not any(scope.is_everything for scope in scopes)
    assert all(scope.branch is None for scope in scopes)
    n_regions, n_kinds = kept.con.execute(
        "SELECT count(DISTINCT region), count(DISTINCT appliance_kind) FROM visit"
    ).fetchone()
    assert len(scopes) == 4 + n_regions + n_kinds


def test_of_many_regions_only_the_largest_are_worked_out_ahead(kept: Kept, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(narrowed, "MOST_OF_EACH", 1)
    scopes = narrowed.frequent_scopes(kept.con, kept.settings)
    sizes = kept.con.execute("SELECT region, count(*) AS n FROM visit GROUP BY 1").df().dropna()
    assert len(sizes) > 1
    (region,) = [scope.region for scope in scopes if scope.region]
    assert sizes.set_index("region")["n"][region] == sizes["n"].max()
    assert len(scopes) == 4 + 1 + 1


@pytest.mark.parametrize("name", narrowed.FAMILIES)
def test_what_was_kept_is_what_would_be_worked_out(kept: Kept, name: str) -> None:
    scope = narrowed.frequent_scopes(kept.con, kept.settings)[2]
    assert kept.n_made == len(narrowed.FAMILIES)
    assert narrowed.is_saved(kept.store, kept.settings, scope, name)
    part = narrowed.Part(kept.con.cursor, scope, kept.settings, sidecar.figures_for(kept.store, kept.settings))
    assert_same(
        narrowed.FAMILIES[name](part), narrowed.saved(kept.store, kept.settings, scope, name), f"{name} of {scope}"
    )


def test_nothing_kept_is_given_for_other_settings_or_another_scope(kept: Kept) -> None:
    scope = narrowed.frequent_scopes(kept.con, kept.settings)[2]
    other = replace(kept.settings, flag_margin=kept.settings.flag_margin / 2)
    assert narrowed.saved(kept.store, other, scope, "coverage") is None
    assert narrowed.saved(kept.store, kept.settings, replace(scope, branch="nowhere"), "coverage") is None


def test_a_damaged_file_counts_as_not_kept(kept: Kept) -> None:
    scope = narrowed.frequent_scopes(kept.con, kept.settings)[2]
    folder = narrowed._folder(kept.path, kept.settings, scope, "coverage")
    written = (folder / "figures.json").read_text("utf-8")
    (folder / "figures.json").write_text(written[: len(written) // 2], "utf-8")
    try:
        assert narrowed.saved(kept.store, kept.settings, scope, "coverage") is None
    finally:
        (folder / "figures.json").write_text(written, "utf-8")


def test_seasons_are_narrowed_by_region_and_period_alone() -> None:
    scope = Scope(branch="north", region="coast", appliance_kind="boiler")
    assert narrowed.narrowing("seasons", scope) == Scope(region="coast")
    assert narrowed.narrowing("waste", scope) == scope
    assert narrowed.narrowing("seasons", Scope(branch="north")).is_everything


def test_what_is_taken_from_the_whole_store_is_what_a_scope_counts_itself(kept: Kept) -> None:
    branch = kept.con.execute("SELECT min(branch) FROM visit").fetchone()[0]
    scope = Scope(branch=branch)
    assert coverage(kept.con, scope, coverage(kept.con, Scope())) == coverage(kept.con, scope)
    given = callbacks(kept.con, scope, kept.settings, callback_chains(kept.con))
    assert_same(given, callbacks(kept.con, scope, kept.settings), "callbacks")


def test_it_ends_when_another_generation_comes_into_force(kept: Kept) -> None:
    assert narrowed.work_ahead(kept.store, kept.settings, kept.con, kept.path.with_name("store-000009.duckdb")) == 0


def test_what_a_part_does_not_narrow_is_the_whole_fleets(kept: Kept) -> None:
    """Seasons are not cut by branch: what rests on them there takes the figures every page shows, and not another draw."""
    whole = sidecar.figures_for(kept.store, kept.settings)
    part = narrowed.Part(kept.con.cursor, Scope(branch="north"), kept.settings, whole)
    assert part.figures("seasons") is whole.seasons
    assert part.figures("coverage") is not whole.coverage


def test_a_family_that_a_filter_does_not_narrow_is_taken_from_where_it_is_kept(kept: Kept) -> None:
    """A branch on top of a period: the seasons are those of the period, and they are not worked out again."""
    whole = sidecar.figures_for(kept.store, kept.settings)
    period = narrowed.frequent_scopes(kept.con, kept.settings)[2]
    branch = kept.con.execute("SELECT min(branch) FROM visit").fetchone()[0]
    asked = []

    def wider(name: str, scope: Scope) -> Any:
        asked.append((name, scope))
        return narrowed.saved(kept.store, kept.settings, scope, name)

    both = replace(period, branch=branch)
    part = narrowed.Part(kept.con.cursor, both, kept.settings, whole, wider)
    found = part.figures("missing")
    assert asked == [("seasons", period)]
    assert_same(found, narrowed.Part(kept.con.cursor, both, kept.settings, whole).figures("missing"), "missing")


def test_what_is_missing_takes_the_waste_that_parts_waste_shows(kept: Kept) -> None:
    whole = sidecar.figures_for(kept.store, kept.settings)
    branch = kept.con.execute("SELECT min(branch) FROM visit").fetchone()[0]
    alone, after = (narrowed.Part(kept.con.cursor, Scope(branch=branch), kept.settings, whole) for _ in range(2))
    assert_same(alone.estimated_waste, after.figures("waste").estimated, "estimated")
    assert "waste" not in alone._made, "only what is needed of it is worked out"
    assert_same(alone.figures("missing"), after.figures("missing"), "missing")


def test_open_safety_items_of_the_whole_store_give_a_branch_its_own(kept: Kept) -> None:
    whole = sidecar.figures_for(kept.store, kept.settings)
    branch = kept.con.execute("SELECT min(branch) FROM visit").fetchone()[0]
    for scope in (Scope(), Scope(branch=branch), narrowed.frequent_scopes(kept.con, kept.settings)[2]):
        given = sites(kept.con, scope, kept.settings, whole.safety_items)
        assert_same(given, sites(kept.con, scope, kept.settings), "sites")
    assert len(whole.safety_items), "else nothing was compared"


def test_the_swaps_of_a_branch_are_rows_of_all_swaps(kept: Kept) -> None:
    """Also what came back, which is looked for among the branch's own follow-ups only."""
    whole = swaps_for_rate(kept.con, Scope(), kept.settings)
    branch = whole.loc[whole["returned"] == "came back", "branch"].iloc[0]
    found = swaps_for_rate(kept.con, Scope(branch=branch), kept.settings)
    assert 0 < len(found) < len(whole)
    assert_same(found, whole[whole["branch"] == branch], "swaps")


def test_the_scores_of_a_part_are_found_as_by_a_join(kept: Kept) -> None:
    scores = sidecar.figures_for(kept.store, kept.settings).scores
    some = kept.con.execute(
        "SELECT swap_id, draft_fault_id FROM swap_case WHERE hash(swap_id) % 3 = 0 ORDER BY swap_id DESC"
    ).df()
    faults = pd.Series([*some["draft_fault_id"].drop_duplicates(), "never scored"])
    joined = scores.swap_score.reset_index().set_index("swap_id")["index"].reindex([*some["swap_id"], "never scored"])
    assert (
        scores.rows_of(pd.Series([*some["swap_id"], "never scored"])).tolist() == joined.fillna(-1).astype(int).tolist()
    )
    expected = pd.Index(faults).get_indexer(scores.swap_score["draft_fault_id"])
    assert scores.places_among(faults).tolist() == expected.tolist()


def test_one_family_too_large_keeps_none_of_the_others_back(kept: Kept, monkeypatch: pytest.MonkeyPatch) -> None:
    def too_large(part: narrowed.Part) -> Any:
        raise duckdb.OutOfMemoryException("too large")

    kind = kept.con.execute("SELECT min(appliance_kind) FROM visit").fetchone()[0]
    scope = Scope(appliance_kind=kind)
    families = {name: narrowed.FAMILIES[name] for name in ("coverage", "control")}
    monkeypatch.setattr(narrowed, "FAMILIES", families | {"coverage": too_large})
    monkeypatch.setattr(narrowed, "frequent_scopes", lambda con, settings: [scope])
    assert narrowed.work_ahead(kept.store, kept.settings, kept.con, kept.path) == 1
    assert not narrowed.is_saved(kept.store, kept.settings, scope, "coverage")
    assert narrowed.is_saved(kept.store, kept.settings, scope, "control")
