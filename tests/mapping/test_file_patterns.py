"""Which files a mapping reads: a pattern that holds for next month's export, and for no other file at hand."""

from __future__ import annotations

import pytest
from foreign_company import CALLS

from pipelines.mapping.declared import MappingError
from pipelines.mapping.editing import with_file
from pipelines.mapping.file_patterns import fits_pattern, pattern_beside, pattern_of_name
from pipelines.mapping.mapping_file import mapping_of
from pipelines.mapping.proposing import propose
from pipelines.mapping.queries import asked_of, with_queries
from pipelines.mapping.samples import Sample

HEADER = ["WO #", "Location", "Tech", "Arrival Time", "Call Type"]
ROW = ("W1", "L1", "Ortiz", "13/01/2025 08:00", "no_heat")


def sample(file: str, sheet: str | None = None) -> Sample:
    return Sample(file, sheet, HEADER, [ROW])


def proposed(*names: str) -> list[str]:
    return [source.file for source in propose([sample(name) for name in names], "jobs").mapping.sources]


@pytest.mark.parametrize(
    ("name", "pattern"),
    [
        ("jobs.csv", "jobs.csv"),
        ("jobs_2025_01.csv", "jobs_*.csv"),
        ("jobs_2025-01-01_to_2025-01-31.csv", "jobs_*_to_*.csv"),
        ("Jobs 20250131T0830 north.xlsx", "Jobs * north.xlsx"),
        ("2025.01 jobs.v2.csv", "* jobs.v*.csv"),
        ("jobs_2025_01 (2).csv", "jobs_*.csv"),
        ("jobs (1).csv", "jobs*.csv"),
        ("jobs [final] 3.csv", "jobs [[]final] *.csv"),
        ("jobs7", "jobs*"),
        # Too little of a name is left to tell the file from others.
        ("2025_01.csv", "2025_01.csv"),
        ("Q1.csv", "Q1.csv"),
    ],
)
def test_numbers_and_dates_of_a_name_may_change(name, pattern):
    assert pattern_of_name(name) == pattern
    assert fits_pattern(name, pattern)


def test_a_name_fits_itself_whatever_it_holds():
    assert fits_pattern("jobs [1].csv", "Jobs [1].csv") and not fits_pattern("jobs 1x.csv", "jobs [1].csv")
    assert fits_pattern("auftra\u0308ge.csv", "auftr\u00e4ge.csv")


def test_a_proposal_reads_next_months_file():
    assert proposed("jobs_2025_01.csv") == ["jobs_*.csv"]
    (source,) = propose([sample("jobs_2025_01.csv")], "jobs").mapping.sources
    assert source.fits_file("jobs_2025_02.csv") and source.fits_file("jobs_2026_11.csv")


def test_a_pattern_that_would_read_another_file_at_hand_stays_the_exact_name():
    assert proposed("jobs_2025_01.csv", "jobs_2025_02.csv") == ["jobs_*.csv"], "months of one export are one source"
    assert proposed("jobs_2025_01.csv", "jobs_lines_2025_01.csv") == ["jobs_2025_01.csv", "jobs_lines_*.csv"]
    # A file no table is proposed for would stop a load if it were read.
    assert pattern_beside("jobs_1.csv", ["jobs_1.csv", "jobs_notes.csv"]) == "jobs_1.csv"


def test_sheets_of_one_workbook_share_its_pattern():
    mapping = propose([sample("jobs 2025.xlsx", "North"), sample("jobs 2025.xlsx", "South")], "jobs").mapping
    assert [(one.file, one.sheet) for one in mapping.sources] == [("jobs *.xlsx", "North"), ("jobs *.xlsx", "South")]


def test_a_query_with_a_number_in_its_name_stays_a_query():
    asked = asked_of("service=records", "visits 2025: SELECT 1")
    proposal = propose([sample(asked.sources[0].query_file)], "database")
    assert [one.query for one in with_queries(proposal.mapping, asked).sources] == ["SELECT 1"]


@pytest.mark.parametrize(
    ("files", "refused", "suggested"),
    [
        (["jobs_2025_01.csv"], "jobs_2025_02.csv", "jobs_*.csv"),
        (["jobs_2025*.csv"], "jobs_2026_01.csv", "jobs_*.csv"),
        (["calls.csv"], "calls_later.csv", "calls*.csv"),
        (["visits.csv", "jobs_2025_01.csv"], "jobs_2025_02.csv", "jobs_*.csv"),
        (["jobs_2025_01.csv", "jobs_lines_2025_01.csv"], "jobs_lines_2025_02.csv", "jobs_lines_*.csv"),
        (["jobs_2025_01.csv", "jobs_lines_2025_01.csv"], "jobs_2025_02.csv", "jobs_2025_0*.csv"),
    ],
)
def test_what_is_suggested_for_a_file_not_read_would_read_it(files, refused, suggested):
    source = CALLS[CALLS.index("[[source]]") :]
    mapping = mapping_of('name = "calls"\n' + "".join(source.replace("calls*.csv", file) for file in files))
    assert f'such as file = "{suggested}"' in mapping.reads_not(refused)
    assert fits_pattern(refused, suggested) and any(fits_pattern(file, suggested) for file in files)


def test_files_are_changed_for_all_sources_that_read_them():
    mapping = propose(
        [sample("jobs 2025.xlsx", "North"), sample("jobs 2025.xlsx", "South"), sample("x.csv")], "j"
    ).mapping
    changed = with_file(mapping, 1, "jobs*.xlsx", ["jobs 2025.xlsx", "x.csv"])
    assert [one.file for one in changed.sources] == ["jobs*.xlsx", "jobs*.xlsx", "x.csv"]


def test_a_pattern_must_fit_the_file_at_hand_and_no_other_sources():
    mapping = propose([sample("jobs_2025_01.csv"), sample("lines.csv")], "jobs").mapping
    at_hand = ["jobs_2025_01.csv", "lines.csv"]
    for pattern in ("visits_*.csv", "", "lines.csv"):
        with pytest.raises(MappingError, match=r"does not fit jobs_2025_01\.csv"):
            with_file(mapping, 0, pattern, at_hand)
    with pytest.raises(MappingError, match=r"would also read lines\.csv"):
        with_file(mapping, 0, "*.csv", at_hand)


def test_a_mapping_of_last_month_is_widened_by_the_file_of_this_month():
    mapping = mapping_of(CALLS.replace("calls*.csv", "calls_01.csv"))
    assert with_file(mapping, 0, "calls_*.csv", ["calls_02.csv"]).sources[0].file == "calls_*.csv"
    with pytest.raises(MappingError, match=r"does not fit calls_02\.csv"):
        with_file(mapping, 0, "visits_*.csv", ["calls_02.csv"])
