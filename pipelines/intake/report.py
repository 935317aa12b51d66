"""What is told about each file of a load."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class FileReport:
    """What became of one file (or sheet). n_rows = n_accepted + n_held_back + n_duplicates, always.

    n_revised: accepted rows that replaced an older version of the same key. reasons: "column: reason code" -> cells.
    examples: the same keys -> the sentence of the first such cell, with its place. unknown_words: the same keys -> the
    words that stood in a column of codes, with their counts (pipelines.intake.told_reasons).
    messages: what a person should know. error: why nothing was loaded from it, else None.
    """

    file_name: str
    table_name: str | None = None
    n_rows: int = 0
    n_accepted: int = 0
    n_revised: int = 0
    n_held_back: int = 0
    n_duplicates: int = 0
    dropped_columns: tuple[str, ...] = ()
    unknown_columns: tuple[str, ...] = ()
    delimiter: str | None = None
    encoding: str | None = None
    seconds: float = 0.0
    reasons: dict[str, int] = field(default_factory=dict)
    messages: tuple[str, ...] = ()
    error: str | None = None
    is_already_loaded: bool = False
    examples: dict[str, str] = field(default_factory=dict)
    unknown_words: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class LoadReport:
    """What a load did. generation: name of the store now in force; is_changed: whether this load made it.

    passed_over: names of files in the folders that are no kind of file records come in. notices: sentences about the records
    as a whole after the load.
    """

    files: tuple[FileReport, ...]
    generation: str | None
    seconds: float
    is_changed: bool
    passed_over: tuple[str, ...] = ()
    notices: tuple[str, ...] = ()
