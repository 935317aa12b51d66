"""The README's schedule loads the new exports before it prints, both into one named home, in words the commands take."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import typer

from dashboard.commands import app

README = Path(__file__).parents[2] / "README.md"
SECTION = README.read_text("utf-8").split("## On paper, every Monday")[1].split("\n## ")[0]
CRON = [line for line in SECTION.splitlines() if re.match(r"[\d*]+( [\d*]+){4}  ", line)]
# What the Windows Task Scheduler starts is the file of commands named beside it.
WINDOWS = [
    line
    for name in re.findall(r'schtasks .*/TR "([^"]+)"', SECTION)
    for line in SECTION.split(f"rem {name}\n")[1].split("```")[0].splitlines()
    if line.startswith("goodpull")
]


def test_both_systems_have_a_schedule() -> None:
    assert len(CRON) == 1 and len(WINDOWS) == 1


@pytest.mark.parametrize("line", CRON + WINDOWS)
def test_the_schedule_loads_before_it_prints(line: str) -> None:
    load, report = (_words(part) for part in line[line.index("goodpull") :].split(" && "))
    group = typer.main.get_command(app)
    asked = [
        group.commands[words[1]].make_context(words[1], words[2:]).params  # type: ignore[attr-defined]
        for words in (load, report)
    ]
    assert [load[1], report[1]] == ["load", "report"]
    assert asked[0]["is_only_new"] and asked[0]["sources"]
    assert asked[1]["pack"] == "week" and asked[1]["after"]
    assert asked[0]["home"] == asked[1]["home"] is not None


def _words(command: str) -> list[str]:
    """The words of a command; a backslash is one."""
    return [quoted or bare for quoted, bare in re.findall(r'"([^"]*)"|(\S+)', command)]
