"""The ledger tells by which version of a mapping a file was read; the version is found again among the copies."""

from __future__ import annotations

from foreign_company import CALLS

from pipelines.intake.ledger import mapping_version
from pipelines.loading import load
from pipelines.mapping.kept_versions import kept_versions, told_version
from pipelines.mapping.mapping_file import mapping_of
from pipelines.mapping.writing import FOLDER, version_path

HEADER = ["Call", "Site", "Tech", "In", "Kind"]
ROW = ["1", "S1", "T1", "2025-01-05 08:00", "PM"]


def test_each_load_leads_to_the_copy_of_its_mapping(desk):
    older, newer = CALLS, CALLS.replace('"PM" = ', '"check" = "maintenance", "PM" = ')
    for toml, name in ((older, "calls_1.csv"), (newer, "calls_2.csv")):
        desk.load(toml, desk.write(name, HEADER, [[name, *ROW[1:]]]))
    plain = desk.folder / "visits.csv"
    plain.write_text("visit_id,site_id,technician_id,arrived_at,visit_kind\nP,S1,T1,2025-01-05,no_heat\n")
    load(desk.home, [plain])
    kept = kept_versions(desk.home)
    made = dict(desk.query("SELECT file_name, file_digest FROM load"))
    for toml, name in ((older, "calls_1.csv"), (newer, "calls_2.csv")):
        mapping = mapping_of(toml)
        digest = mapping_version(made[name])
        assert digest == mapping.digest and kept[digest].path == version_path(desk.home, mapping)
        assert told_version(kept, digest) == f"calls, version {digest}"
    assert mapping_version(made["visits.csv"]) is None and told_version(kept, None) == ""


def test_a_copy_tells_its_name_as_long_as_it_is_there(tmp_path):
    folder = tmp_path / FOLDER
    folder.mkdir()
    digest = "0123456789abcdef"
    path = folder / f"our_jobs-{digest}.toml"
    # Of an earlier contract: no longer a mapping, but it still says its name.
    path.write_text('name = "our jobs"\nof_long_ago = true\n')
    (folder / "notes.toml").write_text("")
    assert {one: kept.name for one, kept in kept_versions(tmp_path).items()} == {digest: "our jobs"}
    path.write_text("no toml [")
    assert told_version(kept_versions(tmp_path), digest) == f"our_jobs, version {digest}"
    path.unlink()
    assert told_version(kept_versions(tmp_path), digest) == f"version {digest}, no copy kept"
