"""Figures saved beside the generation they were computed from."""

from __future__ import annotations

from typing import Any

from models.figures.all import Figures, Progress


def figures_for(store: Any, settings: Any, progress: Progress | None = None) -> Figures:
    """The figures of the generation in force: read from its sidecar folder, or computed and saved there.

    store: pipelines.store.Store. Raises StoreError when there is no generation. A sidecar made with other settings or
    by another version of the figures is made anew. Safe when two processes do it at once: the last complete one stays.
    """
    raise NotImplementedError
