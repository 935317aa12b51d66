"""Packs on paper and the store as files, by command."""

from __future__ import annotations

import sys
from pathlib import Path

from dashboard import home_folder


def test_report_writes_both_papers_and_a_web_page_and_runs_what_comes_after(goodpull, demo, tmp_path):
    mailed = tmp_path / "mailed.txt"
    script = tmp_path / "mailer.py"
    script.write_text(f"import sys; open({str(mailed)!r}, 'w').write('\\n'.join(sys.argv[1:]))")
    after = f'"{sys.executable}" "{script}" --to board'
    done = goodpull("report", "week", "--home", demo, "--to", tmp_path / "packs", "--after", after)
    assert done.returncode == 0, done.stderr
    names = sorted(path.name for path in (tmp_path / "packs").iterdir())
    assert [name.rpartition("_")[2] for name in names if name.endswith(".pdf")] == ["a4.pdf", "letter.pdf"]
    assert len(names) == 3 and names[0].endswith(".html")
    told = mailed.read_text().splitlines()
    assert told[:2] == ["--to", "board"] and sorted(Path(one).name for one in told[2:]) == names
    assert "Traceback" not in done.stderr and "ScriptRunContext" not in done.stderr


def test_report_says_what_is_missing_and_what_failed(goodpull, demo, tmp_path):
    assert goodpull("report", "coaching", "--home", demo, "--to", tmp_path).returncode == 2
    assert goodpull("report", "warranty", "--home", demo, "--to", tmp_path).returncode == 2
    unknown = goodpull("report", "warranty", "--home", demo, "--to", tmp_path, "--claim", "none")
    assert unknown.returncode == 1 and "no such claim is on record" in unknown.stderr
    empty = goodpull("report", "week", "--home", tmp_path / "nothing", "--to", tmp_path)
    assert empty.returncode == 1 and "No records in" in empty.stderr
    failing = f'"{sys.executable}" -c "raise SystemExit(3)"'
    failed = goodpull("report", "season", "--home", demo, "--to", tmp_path, "--paper", "a4", "--after", failing)
    assert failed.returncode == 1 and "ended with 3" in failed.stderr
    assert list(tmp_path.glob("season_*_a4.pdf"))


def test_export_writes_the_store_once(goodpull, demo, tmp_path):
    folder = tmp_path / "store"
    done = goodpull("export", folder, "--home", demo)
    assert done.returncode == 0, done.stderr
    assert (folder / "datapackage.json").exists() and (folder / "records" / "visits.parquet").exists()
    again = goodpull("export", folder, "--home", demo)
    assert again.returncode == 1 and "not empty" in again.stderr


def test_without_records_of_ones_own_it_says_where_the_demo_lies(monkeypatch, tmp_path):
    monkeypatch.setattr(home_folder, "default_home", lambda name="fleet": tmp_path / name)
    own, invented = tmp_path / "fleet", tmp_path / "demo"
    assert home_folder.no_records(own).endswith("or look at the demo (goodpull demo).")
    invented.mkdir()
    (invented / home_folder.DEMO_MARKER).write_text("{}")
    assert f"--home {invented}" in home_folder.no_records(own)
    assert "--home" not in home_folder.no_records(invented)
