"""The schedule the README gives prints this week's records: it loads first, into the home it prints from."""

from __future__ import annotations

import re
from pathlib import Path

README = Path(__file__).parents[2] / "README.md"


def test_the_schedule_loads_before_it_prints() -> None:
    blocks = re.findall(r"```\w+\n(.*?)```", README.read_text("utf-8"), re.DOTALL)
    scheduled = [line for block in blocks for line in block.splitlines() if "report week" in line and "--after" in line]
    assert len(scheduled) == 2, "with cron and with the Windows Task Scheduler"
    for line in scheduled:
        homes = re.findall(r"--home (\S+)", line)
        assert len(homes) == 2 and len(set(homes)) == 1, line
        assert re.search(r"load --new \S+ --home \S+ && \S*goodpull report week --home \S+ --to ", line), line
