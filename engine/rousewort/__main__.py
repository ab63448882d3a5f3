"""`python -m rousewort`: the command, where its script is not on the path."""

from __future__ import annotations

from rousewort.cli.main import run

if __name__ == "__main__":
    run()
