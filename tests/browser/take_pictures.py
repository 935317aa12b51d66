"""Take the pictures of the README: every page in light and dark at 1280 x 800.

    python tests/browser/take_pictures.py [HOME] [FOLDER]

HOME: a home with records (default: a small invented fleet made for it). FOLDER: default dashboard/pictures.
The technician's own sheet is pictured as the technician with the most draft faults sees it, signed in on loopback.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import served_pages
import signing_in

FOLDER = served_pages.APP.parent / "pictures"
SIZE = {"width": 1280, "height": 800}
THEMES = ("light", "dark")
SEED, VISITS = 1, 40_000
COLOURS = 256


def made_home(folder: Path) -> Path:
    """A small invented fleet, loaded."""
    from pipelines.loading import load
    from synthetic_data.generate import generate

    generate(folder, seed=SEED, visits=VISITS)
    load(folder, [folder / "records"])
    (folder / "demo.json").write_text("{}", "utf-8")
    return folder


def take_all(browser: Any, home: Path, folder: Path, size: dict[str, int] | None = None) -> list[Path]:
    """Pictures of every page, one's own sheet too. Returns the files written."""
    with served_pages.served(home) as address:
        files = take(browser, address, folder, size=size)
    with signing_in.for_technician(home) as (other, port, provider), served_pages.served(other, port) as address:
        state = signing_in.state_of(browser, address, provider)
        return files + take(browser, address, folder, served_pages.OWN_PAGES, state, size=size)


def take(
    browser: Any,
    address: str,
    folder: Path,
    pages: Sequence[str] = served_pages.PAGES,
    state: Any = None,
    is_whole_page: bool = False,
    size: dict[str, int] | None = None,
) -> list[Path]:
    """One picture per page and theme. state: of a context in which somebody signed in. Returns the files written."""
    folder.mkdir(parents=True, exist_ok=True)
    files = []
    for theme in THEMES:
        context = browser.new_context(
            viewport=size or SIZE, color_scheme=theme, reduced_motion="reduce", storage_state=state
        )
        # The pictures show the pages as they are after the first visit.
        context.add_cookies([{"name": "goodpull_tour", "value": "tour_seen", "url": address}])
        tab = context.new_page()
        for name in pages:
            tab.goto(served_pages.address_of(address, name))
            served_pages.settled(tab, 60)
            if is_whole_page:
                # The page scrolls inside <main>; a window as tall as its content shows all of it.
                height = tab.evaluate("document.querySelector('[data-testid=stMain]').scrollHeight")
                tab.set_viewport_size({"width": (size or SIZE)["width"], "height": int(height) + 20})
                tab.wait_for_timeout(900)
            path = folder / f"{name}-{theme}.png"
            tab.screenshot(path=path)
            _make_small(path)
            files.append(path)
            if is_whole_page:
                tab.set_viewport_size(size or SIZE)
        context.close()
    return files


def _make_small(path: Path) -> None:
    """Store the picture with a palette: flat pages need few colours, and the repository stays small."""
    from PIL import Image

    with Image.open(path) as picture:
        small = picture.convert("RGB").quantize(COLOURS, Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
    small.save(path, optimize=True)


def main() -> None:
    folder = Path(sys.argv[2]) if len(sys.argv) > 2 else FOLDER
    with tempfile.TemporaryDirectory(prefix="goodpull-") as temporary:
        home = Path(sys.argv[1]) if len(sys.argv) > 1 else made_home(Path(temporary))
        with served_pages.browser() as browser:
            files = take_all(browser, home, folder)
    print(f"{len(files)} pictures in {folder}, {sum(path.stat().st_size for path in files) / 1e6:.2f} MB")


if __name__ == "__main__":
    main()
