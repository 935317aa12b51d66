"""Start the pages: on this machine's loopback address, or beyond it where a sign-in is set up."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from dashboard import printing, working_ahead
from pipelines.errors import GoodpullError

if TYPE_CHECKING:
    from dashboard.sign_in import SignIn

LOOPBACK = "127.0.0.1"
FIRST_PORT = 8642
PORTS_TRIED = 40
# What a file may let the group and everybody else do.
OF_OTHERS = 0o077


def free_port(wanted: int | None = None, address: str = LOOPBACK) -> int:
    """A port at the address that nobody listens on.

    wanted: the port asked for; None = the first free one from FIRST_PORT on.
    Raises GoodpullError when the wanted port, or every port tried, is taken.
    """
    candidates = [wanted] if wanted else range(FIRST_PORT, FIRST_PORT + PORTS_TRIED)
    for port in candidates:
        with socket.socket(socket.AF_INET6 if ":" in address else socket.AF_INET, socket.SOCK_STREAM) as probe:
            if os.name == "posix":
                # As the server does: what a stopped one leaves for a minute is no listener. Elsewhere it would mean another thing.
                probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((address, port))
            except OSError:
                continue
            return port
    if wanted:
        raise GoodpullError(f"Port {wanted} on this machine is in use or not allowed. Choose another with --port.")
    raise GoodpullError(
        f"No free port between {FIRST_PORT} and {FIRST_PORT + PORTS_TRIED - 1}. Choose one with --port."
    )


def command(port: int, is_browser_started: bool, address: str = LOOPBACK, sign_in: SignIn | None = None) -> list[str]:
    """The command that serves the pages; settings not named here stand in .streamlit/config.toml beside the app."""
    script = Path(__file__).with_name("page_server.py")
    # With a sign-in the pages answer under the one name people reach them by; that also keeps the server from asking
    # the outside which address it has.
    shared = (
        [
            f"--secrets.files={sign_in.path}",
            f"--browser.serverAddress={sign_in.host}",
            f"--server.allowedHosts={sign_in.host}",
            f"--server.allowedHosts={LOOPBACK}",
        ]
        if sign_in
        else []
    )
    return [
        sys.executable,
        "-m",
        "streamlit",
        "run",
        str(script),
        *shared,
        f"--server.address={address}",
        f"--server.port={port}",
        f"--server.headless={'false' if is_browser_started else 'true'}",
        "--browser.gatherUsageStats=false",
        # Otherwise the first start on a machine stops to ask for an e-mail address.
        "--server.showEmailPrompt=false",
    ]


def serve(port: int | None, is_browser_started: bool, address: str = LOOPBACK, home: Path | None = None) -> int:
    """Serve until stopped. Returns the server's exit code, 0 when it was stopped by the person.

    address: where to listen. home: whose sign-in and people count.
    Raises GoodpullError where the address lies beyond this machine and no usable sign-in is set up.
    """
    sign_in = _sign_in(address, home)
    chosen = free_port(port, address)
    where = f"http://{LOOPBACK}:{chosen} (this machine only)" if address == LOOPBACK else f"{address}, port {chosen}"
    people = "; people sign in" if sign_in else ""
    printing.say(f"The pages are at {where}{people}. Stop with Ctrl+C.")
    command_line = command(chosen, is_browser_started, address, sign_in)
    more = {working_ahead.SWITCH: "on"} | ({"GOODPULL_SIGN_IN": "on"} if sign_in else {})
    return _run(command_line, os.environ | more)


def _run(command_line: list[str], environment: dict[str, str]) -> int:
    """Run the server until it ends or this process is asked to. Its exit code, 0 when it was stopped.

    It stands in a group of its own, so that Ctrl+C reaches this process alone: the server would tell of its interruption as
    of an error. So however this process is asked to end, or its window closed, it takes the server with it.
    """

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    for name in ("SIGTERM", "SIGHUP", "SIGQUIT"):
        number = getattr(signal, name, None)
        # What is ignored from the start, as nohup does, stays so.
        if number is not None and signal.getsignal(number) != signal.SIG_IGN:
            signal.signal(number, stop)
    server = None
    try:
        # What the page server says on a good day is its own; what goes wrong it says on the error stream.
        server = subprocess.Popen(
            command_line,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            env=environment,
            process_group=0 if os.name == "posix" else None,
        )
        return max(server.wait(), 0)
    except KeyboardInterrupt:
        return 0
    finally:
        if server is not None:
            _end(server)


def _end(server: subprocess.Popen[bytes]) -> None:
    server.terminate()
    try:
        server.wait(10)
    except subprocess.TimeoutExpired:
        server.kill()


def _sign_in(address: str, home: Path | None) -> SignIn | None:
    """The sign-in to serve with. The page server's library is only loaded where it may matter: it is slow to start."""
    if home is None or (address == LOOPBACK and not (home / "sign_in.toml").exists()):
        return None
    printing.silence_pages()
    from dashboard.sign_in import require_for

    found = require_for(address, home)
    if found is not None and os.name == "posix" and found.path.stat().st_mode & OF_OTHERS:
        printing.say(f"{found.path} holds secrets and can be read by other accounts here: chmod 600 {found.path}")
    return found
