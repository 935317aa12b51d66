"""Start the pages on this machine's loopback address."""

from __future__ import annotations

import signal
import socket
import subprocess
import sys
from pathlib import Path

from dashboard import printing
from pipelines.errors import GoodpullError

LOOPBACK = "127.0.0.1"
FIRST_PORT = 8642
PORTS_TRIED = 40


def free_port(wanted: int | None = None) -> int:
    """A port on loopback nobody listens on.

    wanted: the port asked for; None = the first free one from FIRST_PORT on.
    Raises GoodpullError when the wanted port, or every port tried, is taken.
    """
    candidates = [wanted] if wanted else range(FIRST_PORT, FIRST_PORT + PORTS_TRIED)
    for port in candidates:
        with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
            try:
                probe.bind((LOOPBACK, port))
            except OSError:
                continue
            return port
    if wanted:
        raise GoodpullError(f"Port {wanted} on this machine is in use or not allowed. Choose another with --port.")
    raise GoodpullError(
        f"No free port between {FIRST_PORT} and {FIRST_PORT + PORTS_TRIED - 1}. Choose one with --port."
    )


def command(port: int, is_browser_started: bool) -> list[str]:
    """The command that serves the pages; settings not named here stand in .streamlit/config.toml beside the app."""
    script = Path(__file__).with_name("app.py")
    return [
        sys.executable,
        "-m",
        "streamlit",
        "run",
        str(script),
        f"--server.address={LOOPBACK}",
        f"--server.port={port}",
        f"--server.headless={'false' if is_browser_started else 'true'}",
        "--browser.gatherUsageStats=false",
        # Otherwise the first start on a machine stops to ask for an e-mail address.
        "--server.showEmailPrompt=false",
    ]


def serve(port: int | None, is_browser_started: bool) -> int:
    """Serve until stopped. Returns the server's exit code, 0 when it was stopped by the person."""
    chosen = free_port(port)
    printing.say(f"The pages are at http://{LOOPBACK}:{chosen} (this machine only). Stop with Ctrl+C.")
    # What the page server says on a good day is its own; what goes wrong it says on the error stream.
    server = subprocess.Popen(command(chosen, is_browser_started), stdout=subprocess.DEVNULL)
    # Asked to end, this process must not leave the server behind.
    signal.signal(signal.SIGTERM, lambda *_: server.terminate())
    try:
        return max(server.wait(), 0)
    except KeyboardInterrupt:
        return 0
    finally:
        server.terminate()
        try:
            server.wait(10)
        except subprocess.TimeoutExpired:
            server.kill()
