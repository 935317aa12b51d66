"""The command line as a person types it: words, exit codes, no traceback, nothing changed where nothing should be."""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from contextlib import contextmanager

import pytest
from typer.main import get_command

from dashboard import commands, serving
from pipelines.errors import GoodpullError

NAMES = (
    "demo", "load", "check", "figures", "open", "contract", "generate", "bench-list", "own-work", "held-back",
    "report", "export", "map", "identity", "loads",
)  # fmt: skip


def test_every_command_is_documented_with_an_example():
    group = get_command(commands.app)
    assert set(group.commands) == set(NAMES)
    for name, command in group.commands.items():
        assert command.help, name
        assert f"goodpull {name}" in (command.epilog or ""), f"{name}: --help shows no example"
        for option in command.params:
            if option.param_type_name == "option" and option.name != "help":
                assert option.help, f"{name}: {option.name} has no help"


def test_help_is_quick_and_loads_no_statistics():
    code = (
        "import sys; import dashboard.commands; "
        "print([n for n in ('pandas', 'statsmodels', 'sklearn', 'streamlit', 'duckdb') if n in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.stdout.strip() == "[]"


def test_demo_makes_a_store_figures_and_truth(demo):
    names = {path.name for path in demo.iterdir()}
    assert {"records", "truth", "current"} <= names
    assert (demo / "current").read_text().startswith("store-")


def test_demo_a_second_time_keeps_what_is_there(goodpull, demo):
    before = (demo / "current").read_text()
    done = goodpull("demo", "--home", demo, "--visits", 6000, "--no-open")
    assert done.returncode == 0, done.stderr
    assert (demo / "current").read_text() == before


def test_demo_never_writes_over_a_folder_with_other_content(goodpull, tmp_path):
    kept = tmp_path / "letters.txt"
    kept.write_text("keep me")
    done = goodpull("demo", "--home", tmp_path, "--no-open")
    assert done.returncode == 1
    assert "not a demo" in done.stderr and "--home" in done.stderr
    assert kept.read_text() == "keep me" and list(tmp_path.iterdir()) == [kept]


def test_figures_in_words_and_as_json(goodpull, demo):
    words = goodpull("figures", "--home", demo)
    assert words.returncode == 0, words.stderr
    assert "adjusted for who got tested" in words.stdout
    assert "must not decide pay" in words.stdout
    first, second = goodpull("figures", "--home", demo, "--json"), goodpull("figures", "--home", demo, "--json")
    assert first.stdout == second.stdout
    assert set(json.loads(first.stdout)) >= {"as_of", "store", "coverage", "good_switch_rate", "callbacks"}
    assert first.stderr == ""


def test_the_bench_list_is_drawn_with_its_chances(goodpull, demo, tmp_path):
    arguments = ("bench-list", "--home", demo, "--number", 2, "--as-of", "2026-01-20", "--seed", 3)
    first, second = goodpull(*arguments), goodpull(*arguments)
    assert first.returncode == 0, first.stderr
    assert first.stdout == second.stdout and "2 of" in first.stderr and "seed 3" in first.stderr
    assert "Drawn from: switches removed from 2026-01-07 to 2026-01-20" in first.stderr and "left out:" in first.stderr
    lines = first.stdout.splitlines()
    assert lines[0].startswith("removed_tag,visit_id,selection,selection_probability")
    assert len(lines) == 3 and all(",random," in line for line in lines[1:])
    refused = goodpull(*arguments, "--pick", "NO-SUCH-TAG", "--csv", tmp_path / "list.csv")
    assert refused.returncode == 1 and "NO-SUCH-TAG: not on the list" in refused.stderr
    assert (tmp_path / "list.csv").read_text("utf-8-sig").splitlines() == lines
    assert goodpull("bench-list", "--home", tmp_path / "none").returncode == 1


def test_figures_of_an_empty_home_say_what_to_do(goodpull, tmp_path):
    done = goodpull("figures", "--home", tmp_path / "none")
    assert done.returncode == 1
    assert "No records" in done.stderr and "goodpull load" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "none").exists()


def test_own_records_are_never_loaded_into_the_demo(goodpull, demo):
    before = (demo / "current").read_text()
    done = goodpull("load", demo / "records", "--home", demo)
    assert done.returncode == 1 and "demo" in done.stderr and "--home" in done.stderr
    assert (demo / "current").read_text() == before


def test_a_home_that_cannot_be_made_is_told(goodpull, tmp_path):
    export = tmp_path / "visits.csv"
    export.write_text("visit_id,site_id,technician_id,arrived_at,visit_kind\nV1,S1,T1,2024-01-15T08:30:00,no_heat\n")
    for home in ("/proc/none", export / "below"):
        done = goodpull("load", export, "--home", home)
        assert done.returncode in (1, 2) and "Traceback" not in done.stderr
    done = goodpull("contract", "--package", export / "x.json")
    assert done.returncode == 1 and "Traceback" not in done.stderr


def test_check_changes_nothing(goodpull, demo, tmp_path):
    home = tmp_path / "home"
    done = goodpull("check", demo / "records", "--home", home)
    assert done.returncode == 0, done.stderr
    assert "Nothing was changed" in done.stderr
    assert not (home / "current").exists()


def test_loading_shows_the_arithmetic_and_refuses_in_words(goodpull, tmp_path):
    good = tmp_path / "visits.csv"
    good.write_text(
        "visit_id,site_id,technician_id,arrived_at,visit_kind\n"
        "V1,S1,T1,2024-01-15T08:30:00,no_heat\n"
        "V2,S1,T1,5014-09-15T08:30:00,no_heat\n"
    )
    bad = tmp_path / "part_lines.csv"
    bad.write_text("visit_id,quantity\nV1,1\n")
    done = goodpull("load", good, bad, "--home", tmp_path / "home")
    assert done.returncode == 1
    assert "Traceback" not in done.stderr
    assert "line_no" in done.stdout, "the refused file's missing column is named"
    told = " ".join(done.stdout.split())
    assert "line 3: arrived_at is 5014-09-15T08:30:00; must lie between 1990 and tomorrow" in told
    assert (tmp_path / "home" / "current").exists(), "the good file was loaded all the same"


def test_files_that_are_passed_over_are_named(goodpull, tmp_path):
    (tmp_path / "exports").mkdir()
    (tmp_path / "exports" / "sites.csv").write_text("site_id\nS1\n")
    (tmp_path / "exports" / "letter.docx").write_text("Dear Sir")
    done = goodpull("load", tmp_path / "exports", "--home", tmp_path / "home")
    assert done.returncode == 0 and "passed over" in done.stdout and "letter.docx" in done.stdout


def test_unknown_options_end_with_usage(goodpull):
    done = goodpull("load", "--no-such-option")
    assert done.returncode == 2
    assert "Traceback" not in done.stderr


def test_a_missing_path_is_told(goodpull, tmp_path):
    done = goodpull("load", tmp_path / "nowhere", "--home", tmp_path / "home")
    assert done.returncode == 1
    assert "nowhere" in done.stderr + done.stdout and "Traceback" not in done.stderr


def test_contract_prints_the_reference_and_writes_templates_and_package(goodpull, tmp_path):
    page = goodpull("contract")
    assert page.returncode == 0 and "part_lines" in page.stdout and "removed_tag" in page.stdout
    done = goodpull("contract", "--templates", tmp_path / "blank", "--package", tmp_path / "datapackage.json")
    assert done.returncode == 0, done.stderr
    assert list((tmp_path / "blank").glob("*.xlsx"))
    package = json.loads((tmp_path / "datapackage.json").read_text())
    assert {"visits", "part_lines"} <= {resource["name"] for resource in package["resources"]}


def test_generate_refuses_a_folder_in_use(goodpull, tmp_path):
    (tmp_path / "x").write_text("x")
    done = goodpull("generate", tmp_path)
    assert done.returncode == 1 and "not empty" in done.stderr


def test_a_taken_port_is_told():
    with socket.socket() as taken:
        taken.bind((serving.LOOPBACK, 0))
        taken.listen()
        with pytest.raises(GoodpullError, match="--port"):
            serving.free_port(taken.getsockname()[1])


@contextmanager
def opened(home, port, *before):
    """`goodpull open` over this home, answering; ended when the block is left. In a group of its own, as in a terminal.

    before: what stands before the command.
    """
    code = "import sys; from dashboard.commands import main; sys.argv[0] = 'goodpull'; main()"
    server = subprocess.Popen(
        [*before, sys.executable, "-c", code, "open", "--home", str(home), "--port", str(port), "--no-browser"],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    try:
        for _ in range(300):
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=1) as answer:
                    assert answer.status == 200
                break
            except OSError:
                assert server.poll() is None, "the server ended"
                time.sleep(0.1)
        else:
            pytest.fail("no answer within 30 s")
        yield server
    finally:
        server.terminate()
        try:
            server.wait(15)
        except subprocess.TimeoutExpired:
            server.kill()
        server.stderr.close()


def test_open_serves_on_loopback_only(demo):
    with opened(demo, serving.free_port()) as server:
        psutil = pytest.importorskip("psutil")
        listening = {
            connection.laddr.ip
            for process in [psutil.Process(server.pid), *psutil.Process(server.pid).children(recursive=True)]
            for connection in process.net_connections("tcp")
            if connection.status == psutil.CONN_LISTEN
        }
        assert listening == {"127.0.0.1"}


@pytest.mark.skipif(os.name != "posix", reason="signals of a terminal")
def test_open_ends_quietly_and_leaves_its_port(demo):
    """By Ctrl+C, which a terminal sends to the whole group, Ctrl+\\, and when its window is closed; on the same port."""
    psutil = pytest.importorskip("psutil")
    port = serving.free_port()
    for asked in (signal.SIGINT, signal.SIGHUP, signal.SIGQUIT):
        with opened(demo, port) as server:
            served = psutil.Process(server.pid).children(recursive=True)
            assert served
            os.killpg(server.pid, asked)
            assert server.wait(15) == 0
            said = server.stderr.read().splitlines()
            assert len(said) == 1 and "Stop with Ctrl+C" in said[0], said
            assert not psutil.wait_procs(served, timeout=15)[1], "something still runs"


@pytest.mark.skipif(shutil.which("nohup") is None, reason="no nohup here")
def test_open_stays_when_asked_to_outlive_its_window(demo):
    with opened(demo, serving.free_port(), "nohup") as server:
        os.killpg(server.pid, signal.SIGHUP)
        with pytest.raises(subprocess.TimeoutExpired):
            server.wait(2)


def test_the_first_start_on_a_machine_asks_nothing(tmp_path):
    """A browser is started and nobody has run the page server before: it serves at once, and asks for no address."""
    port = serving.free_port()
    (tmp_path / "out").touch()
    nobody = os.environ | {"HOME": str(tmp_path), "USERPROFILE": str(tmp_path), "BROWSER": "true", "DISPLAY": ":0"}
    with (tmp_path / "out").open("w") as output:
        server = subprocess.Popen(
            serving.command(port, True), stdin=subprocess.DEVNULL, stdout=output, stderr=subprocess.STDOUT, env=nobody
        )
        try:
            ends_at = time.monotonic() + 60
            while True:
                try:
                    with urllib.request.urlopen(f"http://{serving.LOOPBACK}:{port}/", timeout=5) as answer:
                        assert answer.status == 200
                    break
                except OSError:
                    said = (tmp_path / "out").read_text()
                    assert server.poll() is None and time.monotonic() < ends_at, said
                    time.sleep(0.2)
        finally:
            server.terminate()
            server.wait(15)
    assert "mail" not in (tmp_path / "out").read_text()
