"""rousewort entry new|check|fmt|preview|diff"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Any

HELP = "Add or correct an entry: start one, check it, put it in the one form, see the plan it leads to, and what a change does to all plans."
EPILOG = """examples:
  rousewort entry new 'Sallowia ripensis' --family Fabaceae --kb ~/my-nursery-kb
  rousewort entry check kb/species/cercis/cercis-canadensis.yaml
  rousewort entry fmt kb/species/cercis/cercis-canadensis.yaml
  rousewort entry preview kb/species/cercis/cercis-canadensis.yaml
  rousewort entry diff --before ../main/kb --after kb

Each has its own help: rousewort entry check --help
"""
_FORM = argparse.RawDescriptionHelpFormatter


def add_arguments(parser: argparse.ArgumentParser) -> None:
    actions = parser.add_subparsers(dest="action", metavar="ACTION", required=True)

    def action(name: str, text: str, epilog: str) -> argparse.ArgumentParser:
        child = actions.add_parser(
            name, help=text, description=text[:1].upper() + text[1:] + ".", epilog=epilog, formatter_class=_FORM
        )
        child.add_argument(
            "--kb",
            action="append",
            default=argparse.SUPPRESS,
            metavar="DIR",
            help="a private knowledge base laid over ours",
        )
        return child

    _new_arguments(action("new", "start an entry, with what is known of its relatives as prompts", _NEW))
    _check_arguments(action("check", "find every mistake, then everything doubtful", _CHECK))
    fmt = action("fmt", "put files into the one canonical form, comments kept", _FMT)
    fmt.add_argument("files", nargs="+", type=Path, metavar="FILE", help="files or folders")
    fmt.add_argument(
        "--check", action="store_true", help="change nothing; exit 1 and name the files that are not in it"
    )
    _preview_arguments(action("preview", "show the plan that an entry leads to, and what it changes", _PREVIEW))
    _diff_arguments(action("diff", "show what a change does to every plan", _DIFF))


_NEW = """examples:
  rousewort entry new 'Sallowia ripensis'               (asks a few questions)
  rousewort entry new 'Sallowia ripensis' --family Fabaceae --source bridge-2001 --held read \\
      --where 'table 2' --trait dormancy_class=physical --report nick:found_needed \\
      --report cold_moist:recommended=42-60
  rousewort entry new 'Sallowia ripensis' --observations seen.yaml --source own-records-2026
"""
_CHECK = """examples:
  rousewort entry check kb/species/cercis/cercis-canadensis.yaml
  rousewort entry check                          (everything, with a count of doubts)
  rousewort entry check --doubts all --json
  rousewort entry check --annotations            (in a CI run)

Exit code 1 where there is a mistake; doubts alone do not fail, except with --strict.
"""
_FMT = """examples:
  rousewort entry fmt kb/species/cercis
  rousewort entry fmt --check kb/species kb/genera kb/families
"""
_PREVIEW = """examples:
  rousewort entry preview kb/species/cercis/cercis-canadensis.yaml
  rousewort entry preview FILE --page            (the handbook page, as Markdown)
"""
_DIFF = """examples:
  rousewort entry diff --kb ~/my-nursery-kb      (ours alone against yours laid over it)
  rousewort entry diff --before ../main/kb --after kb
  rousewort entry diff --since main              (this clone against a commit of it)
"""


def _new_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("name", nargs="+", help="the accepted name, without author")
    parser.add_argument("--family", help="its family, where its genus is not known here")
    parser.add_argument("--common", action="append", default=[], metavar="NAME", help="a common name")
    parser.add_argument("--synonym", action="append", default=[], metavar="NAME", help="another scientific name")
    parser.add_argument("--source", metavar="ID", help="the work that the facts are from, by its id in sources.yaml")
    parser.add_argument(
        "--held",
        choices=["read", "memory", "practice"],
        help="how you hold them: read in the work, from memory, common practice",
    )
    parser.add_argument("--where", metavar="PLACE", help="the place in the work, e.g. 'p. 12, table 3'")
    parser.add_argument(
        "--trait", action="append", default=[], metavar="TRAIT=WORD", help="what the work says of the seed"
    )
    parser.add_argument(
        "--report",
        action="append",
        default=[],
        metavar="KIND:MEANING[=DAYS]",
        help="what the work did, e.g. cold_moist:found_needed=60-90",
    )
    parser.add_argument("--observations", type=Path, metavar="FILE", help="observations saved by rousewort observe")
    parser.add_argument(
        "--ask",
        action=argparse.BooleanOptionalAction,
        default=None,
        help="ask for what flags do not say (by default in a terminal)",
    )


def _check_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("files", nargs="*", type=Path, metavar="FILE", help="files to check; none: everything")
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="print what was found as JSON")
    form.add_argument("--annotations", action="store_true", help="print it as annotations of a CI run (::error file=…)")
    parser.add_argument(
        "--doubts", choices=["all", "count", "none"], help="how to show doubts (all for files, count for everything)"
    )
    parser.add_argument("--strict", action="store_true", help="doubts fail too")


def _preview_arguments(parser: argparse.ArgumentParser) -> None:
    from rousewort.app.growing import add_grower_arguments

    parser.add_argument("file", type=Path, metavar="FILE", help="an entry")
    parser.add_argument("--page", action="store_true", help="print the handbook page as Markdown instead")
    parser.add_argument("--json", action="store_true", help="print plan, changes and rules as JSON")
    add_grower_arguments(parser)


def _diff_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--before", type=Path, metavar="DIR", help="a whole knowledge base, or a layer over ours")
    parser.add_argument("--after", type=Path, metavar="DIR", help="the same, changed")
    parser.add_argument("--since", metavar="COMMIT", help="compare with the knowledge base of a commit of this clone")
    parser.add_argument("--json", action="store_true", help="print the changes as JSON")
    parser.add_argument("--exit-code", action="store_true", help="exit 1 where any plan changes")
    parser.add_argument("--engine", choices=["durable_rules", "plain"], help=argparse.SUPPRESS)


def run(arguments: argparse.Namespace) -> int:
    return {"new": _new, "check": _check, "fmt": _fmt, "preview": _preview, "diff": _diff}[arguments.action](arguments)


def _check(arguments: argparse.Namespace) -> int:
    from rousewort.app.main import layers
    from rousewort.contribute.checking import check_all, check_files
    from rousewort.contribute.layout import all_layers

    over = all_layers(layers(arguments))
    result = check_files(arguments.files, over) if arguments.files else check_all(over, _progress())
    how = arguments.doubts or ("all" if arguments.files else "count")
    doubts = result.doubts if how == "all" else ()
    from rousewort.render.check_text import as_annotations, as_json, as_text, counted

    if arguments.json:
        import json

        print(json.dumps(as_json(result.problems, doubts), ensure_ascii=False, indent=2))
    elif arguments.annotations:
        sys.stdout.write(as_annotations(result.problems, doubts))
    else:
        from rousewort.render.terminal import page_for

        sys.stdout.write(as_text(result.problems, doubts, page_for()))
        if how == "count" and result.doubts:
            print(f"Doubts ({len(result.doubts)}; list them with --doubts all):\n{counted(result.doubts)}")
    files = f"{result.files} file{'' if result.files == 1 else 's'}"
    print(f"{files}: {len(result.problems) or 'no'} mistakes, {len(result.doubts) or 'no'} doubts", file=sys.stderr)
    return 1 if result.problems or (arguments.strict and result.doubts) else 0


def _progress() -> Any:
    """A bar on standard error, where a person watches it."""
    if not sys.stderr.isatty():
        return None
    from rousewort.app.bar import Bar

    return Bar(sys.stderr)


def _fmt(arguments: argparse.Namespace) -> int:
    from rousewort.app.output import write_output
    from rousewort.contribute.layout import root_of
    from rousewort.contribute.tidy import schema_for, tidy
    from rousewort.errors import KnowledgeTrouble, Trouble
    from rousewort.knowledge.files import yaml_files

    paths = [p for path in arguments.files for p in (yaml_files(path) if path.is_dir() else [path])]
    problems: list[Any] = []
    untidy: list[Path] = []
    for path in paths:
        try:
            text = path.read_bytes()
            root = root_of(path)
            made = tidy(text, str(path), schema_for(path.resolve(), root) if root else None).encode()
        except OSError as error:
            raise Trouble(f"{path} cannot be read: {error.strerror}.") from None
        except KnowledgeTrouble as trouble:
            problems += trouble.problems
            continue
        if made != text:
            untidy.append(path)
            if not arguments.check:
                write_output(str(path), made, b"", force=True)
    for path in untidy:
        print(f"{path}{' is not in canonical form' if arguments.check else ''}")
    done = "to put into form (rousewort entry fmt)" if arguments.check else "put into form"
    print(f"{len(paths)} files, {len(untidy)} {done}", file=sys.stderr)
    if problems:
        raise KnowledgeTrouble(*problems)
    return 1 if arguments.check and untidy else 0


def _new(arguments: argparse.Namespace) -> int:
    from rousewort.app.main import layers
    from rousewort.app.output import write_output
    from rousewort.contribute import start
    from rousewort.contribute.layout import all_layers
    from rousewort.contribute.reference import sound_part
    from rousewort.errors import Trouble
    from rousewort.knowledge.files import shipped_layer

    private = layers(arguments)
    folder = Path(private[-1]) if private else shipped_layer()
    if folder is None:
        raise Trouble("Say in which folder your knowledge base is: --kb DIR (it may be new), or set ROUSEWORT_KB.")
    if private and not folder.exists():
        folder.mkdir(parents=True)
    kb = sound_part(all_layers(private))
    name = start.accepted_form(" ".join(arguments.name))
    path = start.target_for(folder, name)
    known = start.known_already(kb, name)
    if known and not private:
        raise Trouble(
            f"{name} is {'a synonym of ' + known if known != name else 'an entry'} already. See it: rousewort show '{known}'"
        )
    said = _said(arguments, kb, name)
    if arguments.ask or (arguments.ask is None and sys.stdin.isatty()):
        said = _ask(kb, said)
    entry = start.entry_of(kb, said)
    if private:
        start.write_schemas(kb, folder)
    path.parent.mkdir(parents=True, exist_ok=True)
    write_output(
        str(path), start.text_of(kb, entry, "../../schema/taxon.schema.yaml").encode(), b"never over another file"
    )
    print(path)
    if known:
        print(
            f"It replaces the whole entry of {known} beneath. To add reports only, write `adds_to: {known}`.",
            file=sys.stderr,
        )
    print(f"Next: fill it in, then\n  rousewort entry check {path}\n  rousewort entry preview {path}", file=sys.stderr)
    return 0


def _said(arguments: argparse.Namespace, kb: Any, name: str) -> Any:
    """What the flags and the file of observations say. Raises Trouble for every flag that cannot be read."""
    from rousewort.contribute import start
    from rousewort.errors import Trouble

    traits: dict[str, tuple[str, ...]] = {}
    treatments, problems = [], []
    for parse, texts in ((start.parse_trait, arguments.trait), (start.parse_report, arguments.report)):
        for text in texts:
            try:
                made: Any = parse(kb, text)
                if parse is start.parse_trait:
                    traits[made[0]] = (*traits.get(made[0], ()), made[1])
                else:
                    treatments.append(made)
            except Trouble as trouble:
                problems += trouble.problems
    if problems:
        raise Trouble(*problems)
    said = start.Said(
        name,
        arguments.family,
        tuple(arguments.common),
        tuple(arguments.synonym),
        arguments.source,
        arguments.held,
        arguments.where,
        traits,
        tuple(treatments),
    )
    if arguments.observations:
        plant, seen = start.from_observations(kb, arguments.observations)
        if plant and plant.lower() != name.lower():
            raise Trouble(f"{arguments.observations} is about {plant}, not {name}.")
        said = start.merged(said, seen)
    return said


def _ask(kb: Any, said: Any) -> Any:
    """Ask on the terminal; Enter leaves a thing out, the end of input ends the questions."""
    from rousewort.contribute import start
    from rousewort.errors import Trouble

    print("Enter leaves a question open.", file=sys.stderr)
    asked: set[str] = set()
    while question := next((q for q in start.questions(kb, said) if q.key not in asked), None):
        print(f"\n{question.text}", file=sys.stderr)
        for word, label in question.choices.items():
            print(f"  {word:<24} {label}", file=sys.stderr)
        print("> ", end="", file=sys.stderr, flush=True)
        line = sys.stdin.readline()
        if not line:
            break
        if not line.strip():
            asked.add(question.key)
            continue
        try:
            said = start.answered(kb, said, question.key, line.strip())
            asked.add(question.key)
        except Trouble as trouble:
            print(trouble, file=sys.stderr)
    return said


def _preview(arguments: argparse.Namespace) -> int:
    from rousewort.app.main import layers
    from rousewort.contribute.changes import with_entry
    from rousewort.contribute.checking import check_files
    from rousewort.contribute.layout import all_layers
    from rousewort.errors import KnowledgeTrouble, Trouble
    from rousewort.knowledge.base import load
    from rousewort.knowledge.strict_yaml import read

    over = layers(arguments)
    problems = check_files([arguments.file], all_layers(over)).problems
    if problems:
        raise KnowledgeTrouble(*problems)
    record = read(arguments.file.read_bytes(), str(arguments.file)).data
    if not isinstance(record, dict) or record.get("rank") != "species":
        raise Trouble(
            f"{arguments.file} is no entry of a species. For rules, treatments and genera: rousewort entry diff"
        )
    current, what = _current(load(over), arguments.file, all_layers(over).folders)
    changed = with_entry(load(over), record)
    name = record.get("adds_to", record["name"])
    if arguments.page:
        return _page(changed, name)
    return _print_preview(arguments, current, changed, name, what)


def _current(kb: Any, file: Path, folders: Any) -> tuple[Any, str]:
    """What to compare with, and what that is in words. A file that is part of the knowledge base already is compared
    with its last commit, or, where there is none, with plans made without it."""
    from rousewort.contribute.changes import committed, with_entry
    from rousewort.contribute.layout import root_of
    from rousewort.knowledge.strict_yaml import read

    record = read(file.read_bytes(), str(file)).data
    if root_of(file) not in [folder.resolve() for folder in folders] or "adds_to" in record:
        return kb, "the knowledge base as it is"
    text = committed(file)
    if text is not None:
        return with_entry(kb, read(text, str(file)).data), "the last commit of this file"
    return kb.without(species=record["name"]) if kb.taxon(
        record["name"]
    ) else kb, "the knowledge base without this entry"


def _print_preview(arguments: argparse.Namespace, current: Any, changed: Any, name: str, what: str) -> int:
    from rousewort.app.growing import grower_from
    from rousewort.contribute.changes import difference, line_of
    from rousewort.plan import Planner
    from rousewort.render import changes_text, plan_text
    from rousewort.render.plan_json import to_text
    from rousewort.render.terminal import page_for

    grower = grower_from(arguments, changed.vocabulary, list(changed.treatments))
    plan = Planner(changed, arguments.engine).plan(name, grower)
    match = current.lookup(name)
    before = Planner(current, arguments.engine).plan_for(match, grower) if match.name else None
    change = difference(name, before, plan)
    if arguments.json:
        import json

        rules = [f.rule.id for f in plan.findings.firings]
        print(
            json.dumps(
                {"plan": json.loads(to_text(plan)), "change": change and change._asdict(), "rules": rules},
                ensure_ascii=False,
                indent=2,
            )
        )
        return 0
    page = page_for()
    plan_text.render(plan, page)
    page.heading(f"What changes, against {what}")
    if before is not None and match.matched_by not in ("accepted", "synonym"):
        page.say(f"There was no entry of {name}; the plan was made from its {match.matched_by}: {line_of(before)}", 2)
    changes_text.one(change, page) if change else page.say("Nothing: the plan is the same.", 2)
    page.heading("Rules that fire")
    changes_text.rules_text(plan.findings.firings, {"name": name, "toxic_note": ""}, page)
    sys.stdout.write(page.text())
    return 0


def _page(kb: Any, name: str) -> int:
    """The Markdown of the page that the handbook would have."""
    import tempfile

    from rousewort.handbook.build import write_pages
    from rousewort.knowledge.names import slug

    with tempfile.TemporaryDirectory(prefix="rousewort-") as folder:
        write_pages(kb, Path(folder), [name])
        page = next(Path(folder).rglob(f"{slug(name)}.md"))
        sys.stdout.write(page.read_text("utf-8"))
    return 0


def _diff(arguments: argparse.Namespace) -> int:
    from contextlib import ExitStack

    from rousewort.app.main import layers
    from rousewort.contribute.changes import at_commit, compare, open_whole
    from rousewort.errors import Trouble
    from rousewort.knowledge.base import load
    from rousewort.knowledge.files import shipped_layer
    from rousewort.render.changes_text import as_json, render
    from rousewort.render.terminal import page_for

    private = layers(arguments)
    if sum(bool(x) for x in (arguments.before, arguments.since)) > 1:
        raise Trouble("Give one of --before and --since.")
    if not (arguments.before or arguments.since or private or arguments.after):
        raise Trouble("Say what to compare: --kb DIR, --before DIR --after DIR, or --since COMMIT.")
    with ExitStack() as stack:
        if arguments.since:
            clone = shipped_layer()
            if clone is None:
                raise Trouble("--since works in a clone only. Compare two folders: --before DIR --after DIR")
            before = open_whole(stack.enter_context(at_commit(clone, arguments.since)))
        else:
            before = open_whole(arguments.before) if arguments.before else load()
        after = open_whole(arguments.after) if arguments.after else load(private)
        bar = _progress()
        comparison = compare(before, after, arguments.engine, bar)
        if bar:
            bar.wipe()
    if arguments.json:
        import json

        print(json.dumps(as_json(comparison), ensure_ascii=False, indent=2))
    else:
        sys.stdout.write(render(comparison, page_for()))
    return 1 if arguments.exit_code and comparison.changes else 0
