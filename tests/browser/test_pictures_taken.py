"""The command that takes the README's pictures knows every page, and its pictures are all there."""

from __future__ import annotations

from pathlib import Path

import pytest
import served_pages
import take_pictures


def expected(ending: str = ".png") -> set[str]:
    return {f"{name}-{theme}{ending}" for name in served_pages.TITLES for theme in take_pictures.THEMES}


def test_every_page_is_pictured_in_both_themes() -> None:
    assert {path.name for path in take_pictures.FOLDER.glob("*.png")} == expected()


@pytest.mark.browser
def test_the_command_takes_every_page(browser, one_visit_home: Path, tmp_path: Path) -> None:
    size = {"width": 420, "height": 600}
    files = take_pictures.take_all(browser, one_visit_home, tmp_path, size)
    assert {path.name for path in files} == {path.name for path in tmp_path.iterdir()} == expected()
    # Each shows a page of its own, and no two themes look alike.
    assert len({path.read_bytes() for path in files}) == len(files)
