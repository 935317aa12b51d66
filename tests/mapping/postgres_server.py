"""A PostgreSQL server of its own for a test, on loopback, with a password."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg
import pytest

PASSWORD = "not-for-the-log"


def _bin_folder() -> Path | None:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), reverse=True)
    on_path = shutil.which("initdb")
    return found[0].parent if found else Path(on_path).parent if on_path else None


def _as_user() -> dict:
    """The server refuses to run as root."""
    if os.name == "nt" or os.geteuid() != 0:
        return {}
    import pwd

    for name in ("postgres", "nobody"):
        try:
            entry = pwd.getpwnam(name)
        except KeyError:
            continue
        return {"user": entry.pw_uid, "group": entry.pw_gid, "extra_groups": []}
    pytest.skip("no unprivileged account to run a server as")


@contextmanager
def running() -> Iterator[str]:
    """Connection line of a running server, without its password; skips without the server's programs."""
    folder = _bin_folder()
    if folder is None:
        said = "needs PostgreSQL's server programs (Debian: apt-get install postgresql)"
        pytest.fail(said) if os.environ.get("CI") else pytest.skip(said)
    user = _as_user()
    # Not pytest's own folder: the server runs as another account, which may not enter that.
    home = Path(tempfile.mkdtemp(prefix="goodpull-pg-"))
    home.chmod(0o755)
    if user:
        os.chown(home, user["user"], user["group"])
    (home / "pw").write_text(PASSWORD)
    (home / "pw").chmod(0o644)
    made = [
        str(folder / "initdb"),
        "-D",
        str(home / "data"),
        "-U",
        "owner",
        "-A",
        "scram-sha-256",
        "-E",
        "UTF8",
        "--no-sync",
    ]
    subprocess.run([*made, "--locale=C", f"--pwfile={home / 'pw'}"], check=True, capture_output=True, cwd="/", **user)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    started = [str(folder / "postgres"), "-D", str(home / "data"), "-p", str(port), "-k", str(home)]
    run = subprocess.Popen(
        [*started, "-c", "listen_addresses=127.0.0.1", "-c", "fsync=off"],
        cwd="/", stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, **user,
    )  # fmt: skip
    line = f"host=127.0.0.1 port={port} user=owner dbname=postgres"
    try:
        for _ in range(100):
            try:
                psycopg.connect(line, password=PASSWORD).close()
                break
            except psycopg.OperationalError:
                time.sleep(0.1)
        yield line
    finally:
        run.send_signal(signal.SIGINT)
        run.wait(20)
        shutil.rmtree(home, ignore_errors=True)
