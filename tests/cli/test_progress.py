"""What a command tells while it works: on a terminal alone."""

from __future__ import annotations

import fcntl
import os
import pty
import struct
import subprocess
import sys
import termios

PROGRAM = (
    "from orchardsim.cli.progress import progress, tell\n"
    "with progress('3 trials', 3) as done:\n"
    "    import time\n"
    "    [(time.sleep(0.21), done(1)) for _ in range(3)]\n"
    "tell('saved')\n"
    "print('the answer')\n"
)


def test_a_terminal_sees_how_far_and_what_is_left() -> None:
    told, seen = pty.openpty()
    fcntl.ioctl(seen, termios.TIOCSWINSZ, struct.pack("4H", 24, 80, 0, 0))
    with subprocess.Popen([sys.executable, "-c", PROGRAM], stdout=subprocess.PIPE, stderr=seen) as process:
        os.close(seen)
        text = b""
        while True:
            try:
                piece = os.read(told, 4096)
            except OSError:  # the other side is closed
                break
            if not piece:
                break
            text += piece
        assert process.stdout is not None and process.stdout.read() == b"the answer\n"
    os.close(told)
    shown = text.decode()
    assert "3 trials" in shown and "33 %" in shown and "left" in shown and "saved" in shown


def test_a_pipe_holds_the_answer_alone() -> None:
    ended = subprocess.run([sys.executable, "-c", PROGRAM], capture_output=True, text=True, check=True)
    assert ended.stdout == "the answer\n" and ended.stderr == ""
