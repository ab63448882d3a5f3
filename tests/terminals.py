"""What a command sends to a terminal: tests of colour and of what must never reach one."""

from __future__ import annotations

import os
import pty
import subprocess
import sys
from collections.abc import Mapping


def in_a_terminal(*argv: str, env: Mapping[str, str], types: bytes = b"") -> str:
    """What a terminal of 80 columns would be sent by a command; `types`: what its user types meanwhile."""
    main_end, other_end = pty.openpty()
    child = subprocess.Popen(
        [sys.executable, "-m", "rousewort.cli.main", *argv],
        stdout=other_end,
        stderr=other_end,
        stdin=other_end,
        env=env,
    )
    os.close(other_end)
    if types:
        os.write(main_end, types)
    sent = b""
    while True:
        try:
            part = os.read(main_end, 65536)
        except OSError:
            break
        if not part:
            break
        sent += part
    child.wait(30)
    os.close(main_end)
    return sent.decode()
