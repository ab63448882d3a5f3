"""Build hook: compiles the knowledge base into the wheel as one SQLite index, checked on the way."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface


class IndexHook(BuildHookInterface):
    PLUGIN_NAME = "custom"

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        if version == "editable" or self.target_name != "wheel":
            return  # a clone reads kb/ itself
        root = Path(self.root)
        sys.path.insert(0, str(root / "engine"))
        from rousewort.knowledge.build import build
        from rousewort.knowledge.store import write_index

        index = Path(self.directory) / "kb.sqlite"
        index.parent.mkdir(parents=True, exist_ok=True)
        write_index(build([root / "kb"]), index, stamp="wheel")
        build_data["force_include"][str(index)] = "rousewort/kb.sqlite"
        build_data["force_include"][str(root / "kb" / "schema")] = "rousewort/schema"
        for folder, notice in (("names", "WORDNET-NOTICE"), ("tables", "TAXONLOOKUP-LICENSE")):
            build_data["force_include"][str(root / "kb" / folder / notice)] = f"rousewort/{notice}"
