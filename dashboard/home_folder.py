"""The folder that holds the records and figures: how a command is told, and the one used when none is named."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import Annotated

import typer

# Marks a home as holding the invented fleet; no other records are loaded there.
DEMO_MARKER = "demo.json"

HomeOption = Annotated[
    Path | None,
    typer.Option(
        "--home",
        envvar="GOODPULL_HOME",
        help="Folder that holds the records and figures.",
        show_default="a folder of your own account",
        file_okay=False,
    ),
]


def default_home(name: str = "fleet") -> Path:
    """The folder used when none is named: under the account's own data folder."""
    import platformdirs

    return Path(platformdirs.user_data_dir("goodpull", appauthor=False)) / name


def no_records(folder: Path) -> str:
    """What is said where the folder holds no records: how to load some, and where the demo lies if there is one."""
    demo = default_home("demo")
    is_made = demo != folder and (demo / DEMO_MARKER).exists()
    look = (
        f"ask the demo fleet by adding --home {shlex.quote(str(demo))}"
        if is_made
        else "look at the demo (goodpull demo)"
    )
    return f"No records in {folder} yet. Load some (goodpull load FOLDER) or {look}."
