"""The versions of mappings kept in a home, found again by the digest that the ledger of loads names."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from pathlib import Path

from pipelines.mapping.writing import FOLDER

_KEPT = re.compile(r"^(.+)-([0-9a-f]{16})\.toml$")


@dataclass(frozen=True)
class KeptVersion:
    """One version of a mapping. name: of the mapping. digest: of its rules. path: of the copy."""

    name: str
    digest: str
    path: Path

    @property
    def shown(self) -> str:
        return f"{self.name}, version {self.digest}"


def kept_versions(home: Path) -> dict[str, KeptVersion]:
    """Digest -> the version kept under it. A copy that is no TOML any more goes by the name of its file."""
    found = {}
    for path in sorted((home / FOLDER).glob("*.toml")):
        told = _KEPT.match(path.name)
        if told:
            found[told[2]] = KeptVersion(_name(path) or told[1], told[2], path)
    return found


def told_version(versions: dict[str, KeptVersion], digest: str | None) -> str:
    """How a load says which mapping read it; blank for files of the contract."""
    if digest is None:
        return ""
    return versions[digest].shown if digest in versions else f"version {digest}, no copy kept"


def _name(path: Path) -> str | None:
    # The contract may have changed since; the name alone is read, so that an old version still tells it.
    try:
        return str(tomllib.loads(path.read_text("utf-8-sig")).get("name") or "") or None
    except (OSError, ValueError):
        return None
