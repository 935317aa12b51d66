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
        parts.append(f"The mapping reads and the file lacks: {named(lacking, others)}.")
    if lacking and not source.columns:
        parts.append(f"The file has: {named(list(there.values()), [])}.")
    if gone:
        parts.append(f"Gone, though not read: {named(gone, [])}.")
    if new:
        parts.append(f"The file has and the mapping does not know: {named(new, [])}.")
    raise DriftError(changed_shape(mapping, " ".join(parts), "columns", is_known=bool(source.columns)))


def changed_shape(mapping: Mapping, lacks: str, read: str, is_known: bool = True) -> str:
    """The drift report. lacks: sentences on what each side lacks. read: what of the mapping is to be put right.

    is_known: whether the mapping holds the shape it was made of.
    """
    said = (
        f"has changed shape since the mapping {mapping.name!r} was made"
        if is_known
        else f"does not fit the mapping {mapping.name!r}"
    )
    return f"{said}; nothing was loaded from it. {lacks} Put the {read} of the mapping right, or have the export mended, and load it again."


def check_sheets(mapping: Mapping, sources: Sequence[Source], sheets: Sequence[str]) -> None:
    """Raises DriftError when a workbook lacks a sheet that a source of that file reads, listing what each side lacks.

    sources: those that read the file. Without the sheet a table of the mapping would stay away, and nobody would know.
    """
    lacking = [source.sheet for source in sources if source.sheet and not any(map(source.fits_sheet, sheets))]
    if not lacking:
        return
    others = [sheet for sheet in sheets if not any(source.fits_sheet(sheet) for source in sources)]
    unread = f" The workbook has and the mapping does not know: {named(others, [])}." if others else ""
    lacks = (
        f"The mapping reads and the workbook lacks the sheet: {named(lacking, others)}.{unread} Where it stands in another workbook, "
        "give that source a file of its own."
    )
    raise DriftError(changed_shape(mapping, lacks, "sheets"))


def named(columns: Sequence[str], others: Sequence[str]) -> str:
    """Names in quotes, each with the new column most like it."""
    from rapidfuzz import fuzz, process

    shown = []
    for column in columns:
        near = process.extractOne(
            column.casefold(), [other.casefold() for other in others], scorer=fuzz.ratio, score_cutoff=50
        )
        shown.append(f"{column!r}" + (f" (perhaps {others[near[2]]!r} now)" if near else ""))
    return ", ".join(shown)
