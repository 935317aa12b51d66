"""The kept mappings of a home in a copy of the company's own work: read as they stand, brought back where missing."""

from __future__ import annotations

from pathlib import Path

from pipelines.mapping.writing import FOLDER, write_durably
from pipelines.own_work import OwnWorkError


def kept_mappings(home: Path) -> dict[str, str]:
    """Name and text of every mapping kept in the home. Raises OwnWorkError when one cannot be read."""
    found = {}
    for path in sorted((home / FOLDER).glob("*.toml")):
        try:
            found[path.name] = path.read_bytes().decode("utf-8")
        except (OSError, ValueError) as error:
            raise OwnWorkError(
                f"{path}: the mapping cannot be read ({error}). Put it right or move it away."
            ) from error
    return found


def check_mappings(home: Path, mappings: dict[str, str]) -> None:
    """Refuse what must not be written. Raises OwnWorkError for a name that leads elsewhere, or another text there."""
    for name, text in mappings.items():
        if Path(name).name != name or "\\" in name or not name.endswith(".toml"):
            raise OwnWorkError(f"The copy names a mapping {name!r}; must be a plain name ending in .toml.")
        there = home / FOLDER / name
        if there.exists() and there.read_bytes().decode("utf-8", "replace") != text:
            raise OwnWorkError(
                f"{there}: is there already with another text than in the copy. Nothing was restored; move it away or "
                "restore into another folder."
            )


def restore_mappings(home: Path, mappings: dict[str, str]) -> int:
    """Write the mappings that are not there yet, each whole or not at all: how many. Call check_mappings first."""
    missing = {name: text for name, text in mappings.items() if not (home / FOLDER / name).exists()}
    if missing:
        (home / FOLDER).mkdir(parents=True, exist_ok=True)
    for name, text in missing.items():
        write_durably(home / FOLDER / name, text)
    return len(missing)
