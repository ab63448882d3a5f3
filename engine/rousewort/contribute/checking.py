"""Checking entries before they are taken in: some files quickly, or a whole knowledge base in one run."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from rousewort.base.atomic_write import read_whole
from rousewort.base.errors import KnowledgeError, Problem, UserError
from rousewort.contribute.layout import Layers, root_of, with_root
from rousewort.contribute.reference import reference
from rousewort.contribute.rule_examples import example_problems
from rousewort.knowledge.build import lay
from rousewort.knowledge.check import check_layer, kind_of
from rousewort.knowledge.doubts import Around, Doubt, doubts
from rousewort.knowledge.files import TAXON_FOLDERS
from rousewort.knowledge.loose_ends import loose_ends
from rousewort.knowledge.strict_yaml import Document, read


class CheckResult(NamedTuple):
    """What checking found, in order of file and line. `judged`: doubts that an author looked at and answered."""

    files: int
    problems: tuple[Problem, ...]
    doubts: tuple[Doubt, ...]
    judged: tuple[Doubt, ...]
    codes: Mapping[str, Mapping[str, Any]]  # every kind of doubt, as kb/vocabulary/doubts.yaml has it


def check_files(files: Sequence[Path], layers: Layers) -> CheckResult:
    """Check these files as part of the knowledge base each stands in, over `layers`.

    Entries are checked against a kept index and cost no reading of the rest. Any other file (rule, treatment, sources,
    vocabulary) can break files beside it, so its whole knowledge base is checked.
    """
    groups = _by_root(files)
    problems: list[Problem] = []
    found: list[Doubt] = []
    codes: Mapping[str, Any] = {}
    for root, members in groups.items():
        over = with_root(layers, root)
        entries = all(path.relative_to(root).parts[0] in TAXON_FOLDERS for path in members)
        result = _check_entries(root, members, over) if entries else check_all(over)
        chosen = {str(path) for path in members}
        problems += result.problems
        both = (*result.doubts, *result.judged)
        found += [d for d in both if str(Path(d.problem.file).resolve()) in chosen]
        codes = result.codes
    return _sorted(len(files), problems, found, codes)


def check_all(layers: Layers, progress: Callable[[str, int], None] | None = None) -> CheckResult:
    """Check every file of all layers. `progress` is told what is being done and how many files are done."""
    laid = lay(layers.folders, layers.base_index, (lambda n: progress("reading", n)) if progress else None)
    problems = [*laid.problems, *loose_ends(laid), *example_problems(laid)]
    spoilt = {problem.file for problem in laid.problems}
    around = Around(laid.store, laid.store.vocabulary)
    found: list[Doubt] = []
    count = 0
    for documents in laid.documents:
        for path, document in documents.items():
            count += 1
            if progress:
                progress("weighing", count)
            if kind_of(path) == "taxon" and document.file not in spoilt:
                found += doubts(document, around)
    return _sorted(count, problems, found, laid.store.vocabulary.files["doubts"])


def _sorted(count: int, problems: Sequence[Problem], found: Sequence[Doubt], codes: Mapping[str, Any]) -> CheckResult:
    order = sorted(set(found), key=lambda d: (d.problem, d.code))
    open_ones, judged = [d for d in order if not d.judged], [d for d in order if d.judged]
    return CheckResult(count, tuple(sorted(set(problems))), tuple(open_ones), tuple(judged), codes)


def _by_root(files: Sequence[Path]) -> dict[Path, list[Path]]:
    groups: dict[Path, list[Path]] = {}
    troubles = []
    for path in files:
        root = root_of(path)
        if not path.is_file():
            troubles.append(f"There is no file {path}.")
        elif root is None:
            troubles.append(
                f"{path} stands in no knowledge base: a species belongs in species/<genus>/, a rule in rules/."
            )
        else:
            groups.setdefault(root, []).append(path.resolve())
    if troubles:
        raise UserError(*troubles)
    return groups


def _check_entries(root: Path, members: list[Path], layers: Layers) -> CheckResult:
    known = reference(layers, members)
    problems: list[Problem] = []
    documents: dict[str, Document] = {}
    for path in members:
        shown = _shown(path)
        try:
            documents[path.relative_to(root).as_posix()] = read(read_whole(path), shown)
        except KnowledgeError as trouble:
            problems += [p for p in trouble.problems if isinstance(p, Problem)]
        except OSError as error:
            problems.append(Problem(shown, 0, 0, f"cannot be read: {error.strerror}", "Check its permissions."))
    beneath = set(known.files.values()) | set(known.store.names("species"))
    shared = {"sources": known.store.shared("sources"), "treatments": known.store.shared("treatments"), "rules": []}
    checked = check_layer(documents, known.vocabulary, shared, beneath)  # entries alone: no rule is read
    problems += checked.problems
    spoilt = {problem.file for problem in problems}
    around = Around(known.store, known.vocabulary, known.hidden, [*known.beside, *checked.taxa])
    found: list[Doubt] = []
    taken = known.taken({str(path) for path in members})
    for document in documents.values():
        if document.file not in spoilt:
            problems += _claimed(document, around, taken, root)
            found += doubts(document, around)
    return _sorted(len(members), problems, found, known.vocabulary.files["doubts"])


def _claimed(document: Document, around: Around, taken: dict[str, str], root: Path) -> list[Problem]:
    """A scientific name that another file of the same layer has: the whole check would refuse it."""
    if "adds_to" in document.data:
        return []
    found = []
    for where, name in [("name", document.data["name"]), *(("synonyms", s) for s in document.data.get("synonyms", ()))]:
        other = around.claimed_by(name, document.data["name"])
        if other and Path(taken.get(other, "/")).is_relative_to(root):
            what = f"the name {name} is already claimed by {other} in {_shown(Path(taken[other]))}"
            found.append(document.problem((where,), what, "Keep it in one of them."))
    return found


def _shown(path: Path) -> str:
    """A path as the user would write it: from where they are, if it is below."""
    here = Path.cwd()
    return str(path.relative_to(here)) if path.is_relative_to(here) else str(path)
