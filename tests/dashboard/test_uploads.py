"""Names of uploaded files: nothing lands outside the folder, and no file takes another's place."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest

from dashboard.record_loading import written


@dataclass
class Upload:
    name: str
    body: bytes = b"visit_id\n1\n"

    def getbuffer(self) -> bytes:
        return self.body


@pytest.mark.parametrize(
    "name",
    ["../../visits.csv", "..\\..\\visits.csv", "/etc/visits.csv", "C:\\Windows\\visits.csv", "a/../../visits.csv", "vis\0its.csv"],
)  # fmt: skip
def test_a_path_in_a_name_is_cut_off(tmp_path: Path, name: str) -> None:
    folder = tmp_path / "inner"
    folder.mkdir()
    (path,) = written([Upload(name)], folder)
    assert path == folder / "visits.csv" and path.read_bytes() == Upload(name).body
    assert [one.name for one in tmp_path.iterdir()] == ["inner"]


@pytest.mark.parametrize("name", ["..", ".", "", "a/.."])
def test_a_name_that_is_none_still_lands_inside(tmp_path: Path, name: str) -> None:
    folder = tmp_path / "inner"
    folder.mkdir()
    (path,) = written([Upload(name)], folder)
    assert path.parent == folder and path.is_file()


def test_two_files_of_one_name_are_both_kept(tmp_path: Path) -> None:
    paths = written([Upload("visits.csv", b"a"), Upload("x/visits.csv", b"b")], tmp_path)
    assert [path.read_bytes() for path in paths] == [b"a", b"b"]
    assert [path.name for path in paths] == ["visits.csv", "visits.csv"]
