"""A person at a terminal: a command on a pseudo-terminal whose questions are answered."""

from __future__ import annotations

import os
import select
import subprocess
import time
from pathlib import Path


def talk(
    command: list[str], answers: dict[str, str], folder: Path | None = None, asked: list[str] | None = None
) -> str:
    """Run a command on a pseudo-terminal; answer each question that holds the words, else press Enter.

    ``asked`` collects the questions.  Returns all that was said.
    """
    import pty

    ours, theirs = pty.openpty()
    environment = {**os.environ, "TERM": "dumb", "COLUMNS": "200"}
    process = subprocess.Popen(
        command, stdin=theirs, stdout=theirs, stderr=theirs, env=environment, cwd=folder
    )
    os.close(theirs)
    said, end = "", time.monotonic() + 240
    answered = 0
    while time.monotonic() < end:
        ready, _, _ = select.select([ours], [], [], 0.5)
        if ready:
            try:
                piece = os.read(ours, 65536).decode("utf-8", "replace")
            except OSError:
                break
            if not piece:
                break
            said += piece
        waiting = said[answered:].rstrip("\r\n")
        if waiting.endswith("]: "):
            question = waiting.splitlines()[-1]
            if asked is not None:
                asked.append(question)
            answer = next((a for begin, a in answers.items() if begin in question), "")
            os.write(ours, (answer + "\n").encode())
            answered = len(said)
        elif not ready and process.poll() is not None:
            break
    os.close(ours)
    assert process.wait(timeout=30) == 0, said
    return said
