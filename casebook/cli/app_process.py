"""The app's own process: ends when the command that started it is gone, however it went.

A command that is killed outright can say nothing to its app. The app therefore holds the other
end of a pipe, which the system itself closes with the command.
"""

from __future__ import annotations

import os
import runpy
import signal
import sys
import threading


def end_with_the_command() -> None:
    """Wait until standard input ends, which nobody ever writes to; then end this process."""
    # Not through sys.stdin, whose lock a thread that still waits would hold while Python ends.
    while os.read(0, 1):
        pass
    os.kill(os.getpid(), signal.SIGTERM)


if __name__ == "__main__":
    threading.Thread(target=end_with_the_command, daemon=True).start()
    sys.argv[0] = "streamlit"
    runpy.run_module("streamlit", run_name="__main__")
