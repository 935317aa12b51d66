"""An export that changed shape: what the mapping reads and the file lacks, and what the file has anew."""

from __future__ import annotations

from collections.abc import Sequence

from pipelines.intake.file_kinds import IntakeError
from pipelines.mapping.declared import Mapping, Source, folded_text


class DriftError(IntakeError):
    """A source has another shape than when its mapping was made; nothing is loaded from it."""


def check_shape(mapping: Mapping, source: Source, shown: str, columns: list[str]) -> None:
    """Raises DriftError listing what each side lacks. columns: of the file, as delivered."""
    there = {folded_text(column): column for column in columns}
    known = {folded_text(column) for column in (*source.columns, *source.wanted())}
    lacking = [column for column in source.wanted() if folded_text(column) not in there]
    gone = [column for column in source.columns if folded_text(column) not in there and column not in lacking]
    new = [column for key, column in there.items() if source.columns and key not in known]
    if not (lacking or gone or new):
        return
    parts = []
    if lacking:
        others = [column for key, column in there.items() if key not in known]
        parts.append(f"The mapping reads and the file lacks: {_named(lacking, others)}.")
    if lacking and not source.columns:
        parts.append(f"The file has: {_named(list(there.values()), [])}.")
    if gone:
        parts.append(f"Gone, though not read: {_named(gone, [])}.")
    if new:
        parts.append(f"The file has and the mapping does not know: {_named(new, [])}.")
    is_changed = "has changed shape since the mapping {} was made" if source.columns else "does not fit the mapping {}"
    raise DriftError(
        f"{is_changed.format(repr(mapping.name))}; nothing was loaded from it. {' '.join(parts)} "
        f"Put the columns of the mapping right, or have the export mended, and load it again."
    )


def check_sheets(mapping: Mapping, sources: Sequence[Source], sheets: Sequence[str]) -> None:
    """Raises DriftError when a workbook lacks a sheet that a source of that file reads, listing what each side lacks.

    sources: those that read the file. Without the sheet a table of the mapping would stay away, and nobody would know.
    """
    lacking = [source.sheet for source in sources if source.sheet and not any(map(source.fits_sheet, sheets))]
    if not lacking:
        return
    others = [sheet for sheet in sheets if not any(source.fits_sheet(sheet) for source in sources)]
    unread = f" The workbook has and the mapping does not know: {_named(others, [])}." if others else ""
    raise DriftError(
        f"has changed shape since the mapping {mapping.name!r} was made; nothing was loaded from it. The mapping reads and the "
        f"workbook lacks the sheet: {_named(lacking, others)}.{unread} Put the name of the sheet in the mapping right; where it "
        f"stands in another workbook, give that source a file of its own."
    )


def _named(columns: list[str], others: list[str]) -> str:
    """Names in quotes, each with the new column most like it."""
    from rapidfuzz import fuzz, process

    shown = []
    for column in columns:
        near = process.extractOne(
            column.casefold(), [other.casefold() for other in others], scorer=fuzz.ratio, score_cutoff=50
        )
        shown.append(f"{column!r}" + (f" (perhaps {others[near[2]]!r} now)" if near else ""))
    return ", ".join(shown)
