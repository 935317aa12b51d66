"""Figures as files: JSON for the numbers and words, Parquet for the frames. No code is ever read back."""

from __future__ import annotations

import datetime
import json
from collections.abc import Iterable
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

KIND = "__kind__"


def write(folder: Path, value: Any, file_name: str = "figures.json", frame_names: dict[str, str] | None = None) -> None:
    """Write a tree of dataclasses, dicts, lists, frames and plain values into an empty folder.

    frame_names: {path in the tree, 'scores.swap_score': file name without ending}; other frames are named by their
    path.
    """
    tree = _packed(value, (), folder, frame_names or {})
    (folder / file_name).write_text(json.dumps(tree, ensure_ascii=False, allow_nan=False), "utf-8")


def read(folder: Path, kinds: Iterable[type], file_name: str = "figures.json") -> Any:
    """What `write` wrote. kinds: the dataclasses that may occur. Raises KeyError on another one."""
    known = {kind.__name__: kind for kind in kinds}
    return _unpacked(json.loads((folder / file_name).read_text("utf-8")), folder, known)


def _packed(value: Any, path: tuple[str, ...], folder: Path, names: dict[str, str]) -> Any:
    if isinstance(value, pd.DataFrame):
        name = names.get(".".join(path), ".".join(path))
        value.to_parquet(folder / f"{name}.parquet", index=False)
        return {KIND: "frame", "file": f"{name}.parquet"}
    if is_dataclass(value) and not isinstance(value, type):
        entries = {
            entry.name: _packed(getattr(value, entry.name), (*path, entry.name), folder, names)
            for entry in fields(value)
        }
        return {KIND: type(value).__name__, "fields": entries}
    if isinstance(value, dict):
        return {
            KIND: "dict",
            "items": [
                [_packed(k, path, folder, names), _packed(v, (*path, str(k)), folder, names)] for k, v in value.items()
            ],
        }
    if isinstance(value, tuple):
        return {KIND: "tuple", "items": [_packed(v, (*path, str(i)), folder, names) for i, v in enumerate(value)]}
    if isinstance(value, list):
        return [_packed(v, (*path, str(i)), folder, names) for i, v in enumerate(value)]
    if isinstance(value, datetime.date):
        return {KIND: "date", "value": value.isoformat()[:10]}
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float) and not np.isfinite(value):
        return {KIND: "float", "value": repr(value)}
    return value


def _unpacked(tree: Any, folder: Path, known: dict[str, type]) -> Any:
    if isinstance(tree, list):
        return [_unpacked(entry, folder, known) for entry in tree]
    if not isinstance(tree, dict):
        return tree
    kind = tree[KIND]
    if kind == "frame":
        return pd.read_parquet(folder / Path(tree["file"]).name)
    if kind == "dict":
        return {_unpacked(k, folder, known): _unpacked(v, folder, known) for k, v in tree["items"]}
    if kind == "tuple":
        return tuple(_unpacked(entry, folder, known) for entry in tree["items"])
    if kind == "date":
        return datetime.date.fromisoformat(tree["value"])
    if kind == "float":
        return float(tree["value"])
    return known[kind](**{name: _unpacked(entry, folder, known) for name, entry in tree["fields"].items()})
