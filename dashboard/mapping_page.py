"""Records → Map a foreign export: propose, put right, look at 20 rows in and out, confirm, load."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import streamlit as st

from dashboard import (
    mapping_aliases,
    mapping_editor,
    mapping_origin,
    mapping_preview,
    mapping_whole,
    page,
    record_loading,
    roles,
    store_access,
    words,
)
from dashboard.mapping_origin import Origin
from pipelines.errors import GoodpullError
from pipelines.mapping.declared import Mapping
from pipelines.mapping.mapping_file import mapping_of, read_mapping
from pipelines.mapping.queries import with_queries
from pipelines.mapping.samples import Sample
from pipelines.mapping.writing import FOLDER, toml_of

_NONE = "none; propose one"


@dataclass(frozen=True)
class Draft:
    """A mapping being made. remarks: as proposed. samples: the first rows of everything read. database: the queries
    asked, if any. round: makes widgets new.
    """

    mapping: Mapping
    remarks: dict[tuple[int, str, str], str]
    samples: tuple[Sample, ...]
    untold: tuple[str, ...]
    database: Mapping | None = None
    round: int = 0


def show() -> None:
    """The whole section, for readers who may load; nothing is worked out before a file is chosen."""
    if not roles.may_load():
        return
    st.header("Map a foreign export")
    page.told(
        "For files or a database whose columns are not those of the contract. A proposal is made from their names and values on this "
        "machine; you put it right, look at what it does, and confirm it. The mapping is kept and used again next time."
    )
    origin = mapping_origin.asked()
    kept = _kept()
    chosen = _chosen(kept, origin)
    is_ready = origin.is_given or (chosen in kept and read_mapping(kept[chosen]).connection is not None)
    if st.button("Read the columns", key="map_propose", disabled=not is_ready):
        _begin(origin, kept.get(chosen))
    draft = st.session_state.get("map_draft")
    if draft is not None and is_ready:
        _work_on(draft, origin)


def _chosen(kept: dict[str, Path], origin: Origin) -> str:
    """The mapping to begin with: the newest kept one that reads every file, until another is chosen."""
    if not kept:
        return _NONE
    names = [file.name for file in origin.files]
    reads = [name for name, path in kept.items() if names and all(map(read_mapping(path).sources_of, names))]
    options = [_NONE, *kept]
    # A box of its own for each set of files: what was chosen for others does not stand in the way.
    key = f"map_kept_{'_'.join(sorted(names))}"
    return st.selectbox("Mapping", options, index=options.index(reads[-1]) if reads else 0, key=key, width=560)


def _kept() -> dict[str, Path]:
    """The newest version of each mapping kept in the home, by its name."""
    found: dict[str, Path] = {}
    paths = sorted((store_access.home() / FOLDER).glob("*.toml"), key=lambda path: path.stat().st_mtime)
    for path in paths:
        try:
            found[read_mapping(path).name] = path
        except GoodpullError:
            continue
    return found


def _begin(origin: Origin, kept: Path | None) -> None:
    from pipelines.mapping.proposing import propose

    again = None if kept is None else replace(read_mapping(kept), is_confirmed=False)
    samples, database = mapping_origin.samples_from(origin, again)
    if again is not None:
        draft = Draft(again, {}, tuple(samples), (), database)
    elif not samples:
        return
    else:
        proposal = propose(samples, "database" if database else Path(samples[0].file).stem)
        mapping = with_queries(proposal.mapping, database) if database else proposal.mapping
        draft = Draft(mapping, proposal.remarks, tuple(samples), proposal.untold, database)
    before = st.session_state.get("map_draft")
    st.session_state["map_draft"] = replace(draft, round=before.round + 1 if before else 0)
    st.session_state.pop("map_preview", None)


def _work_on(draft: Draft, origin: Origin) -> None:
    for said in draft.untold:
        st.warning(words.plain(f"{said}. Make a table of it below."))
    mapping = mapping_whole.edited(draft)
    if mapping == draft.mapping:
        mapping = mapping_aliases.edited(draft) or mapping_editor.edited(draft)
    if mapping != draft.mapping:
        _changed(draft, mapping)
    _as_text(draft)
    if not draft.mapping.sources:
        return
    if st.button("Show 20 rows in, 20 rows out", key="map_try"):
        _try(draft.mapping, origin)
    tried = st.session_state.get("map_preview")
    if tried is not None and tried[0] == draft.mapping.digest:
        mapping_preview.show(tried[1])
        _warn_of_held_back(tried[1])
        _confirm(draft, origin, is_sound=not tried[1].errors)


def _changed(draft: Draft, mapping: Mapping) -> None:
    if draft.database is not None:
        # A table made by hand of a query's rows reads the query.
        mapping = with_queries(mapping, draft.database)
    # Boxes are told apart by the place of their table: where a table goes, the next one must not take over its choices.
    is_shorter = mapping.n_tables < draft.mapping.n_tables
    st.session_state["map_draft"] = replace(draft, mapping=mapping, round=draft.round + is_shorter)
    st.rerun()


def _as_text(draft: Draft) -> None:
    with st.expander("The mapping as text", key="map_as_text"):
        # What was left to translate when it was proposed may be translated by now; the choices above say what is left.
        remarks = {key: said.partition("; still")[0] for key, said in draft.remarks.items()}
        toml = toml_of(draft.mapping, remarks)
        key = f"map_toml_{draft.round}_{draft.mapping.digest}"
        changed = st.text_area("Mapping (TOML)", toml, height=420, key=key)
        with st.container(horizontal=True):
            is_used = st.button("Use this text", key="map_use_text", disabled=changed == toml)
            st.download_button(
                "Download", changed, f"{draft.mapping.name}.toml", "application/toml", key="map_save", on_click="ignore"
            )
        if is_used:
            try:
                mapping = replace(mapping_of(changed, draft.mapping.name), is_confirmed=False)
            except GoodpullError as error:
                st.error(words.plain(error))
                return
            st.session_state["map_draft"] = replace(draft, mapping=mapping, remarks={}, round=draft.round + 1)
            st.rerun()


def _try(mapping: Mapping, origin: Origin) -> None:
    from pipelines.mapping.preview import preview

    try:
        mapping_of(toml_of(mapping))
        with mapping_origin.paths_of(origin) as paths, st.spinner("Trying the mapping"):
            tried = preview(store_access.home(), paths, mapping, store_access.settings())
    except GoodpullError as error:
        st.error(words.plain(error))
        return
    st.session_state["map_preview"] = (mapping.digest, tried)


def _warn_of_held_back(tried: Any) -> None:
    """Say beside the button which tables would come in with half their rows at most."""
    for made in tried.tables:
        report = made.report
        if report is not None and report.n_rows and report.n_held_back * 2 >= report.n_rows:
            st.warning(
                words.plain(
                    f"{words.count(report.n_held_back)} of {words.plural(report.n_rows, 'row')} of {made.table_name} would be held back. "
                    "Look at the reasons above before you load."
                )
            )


def _confirm(draft: Draft, origin: Origin, is_sound: bool) -> None:
    is_refused = record_loading.refusal() is not None
    looked = st.checkbox("I looked through every line and at the rows above", key=f"map_looked_{draft.mapping.digest}")
    is_ready = looked and is_sound and not is_refused
    if st.button("Confirm and load", key="map_load", type="primary", disabled=not is_ready):
        mapping = replace(draft.mapping, is_confirmed=True)
        with mapping_origin.paths_of(origin) as paths:
            record_loading.load_paths(paths, is_dry_run=False, mapping=mapping, done=_loaded)


def _loaded(report: Any) -> None:
    """Put the draft away once something was loaded with it; otherwise it stays, to be put right."""
    if report.is_changed:
        st.session_state.pop("map_draft", None)
