"""rousewort entry new|check|fmt|preview|diff|sample"""

from __future__ import annotations

import argparse

from rousewort.cli.actions import Action, add_actions, run_action
from rousewort.cli.entry import check, diff, fmt, new, preview, sample

HELP = "Add or correct an entry: start one, check it, put it in the one form, see its plan, what a change does to all plans, and what to read again."
EPILOG = """examples:
  rousewort entry new 'Sallowia ripensis' --family Fabaceae --kb ~/my-nursery-kb
  rousewort entry check kb/species/cercis/cercis-canadensis.yaml
  rousewort entry fmt kb/species/cercis/cercis-canadensis.yaml
  rousewort entry preview kb/species/cercis/cercis-canadensis.yaml
  rousewort entry diff --before ../main/kb --after kb
  rousewort entry sample --count 30 --seed 7

Each has its own help: rousewort entry check --help
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    actions = {"new": new, "check": check, "fmt": fmt, "preview": preview, "diff": diff, "sample": sample}
    add_actions(parser, (Action(name, m.HELP, m.EPILOG, m.add_arguments, m.run) for name, m in actions.items()))


run = run_action
