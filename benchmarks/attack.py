#!/usr/bin/env python3
"""The attack: commands with hostile files, command lines, exports, consoles and kills, with counts. Nothing may fall.

    python benchmarks/attack.py                      all parts, some minutes
    python benchmarks/attack.py lines --count 2500   one part, as often as asked
    python benchmarks/attack.py --seed 7             the same again

A command holds if it ends in time with exit code 0, 1 or 2, in plain words, and what it was not asked to touch is as it was.
The rest of the attack is tests: backups and restores amid kills (tests/ledger/test_restore_drill.py, fifty rounds with
ROUSEWORT_ALL=1), the shared network (tests/bench/test_shared_network.py), the offline watch (tests/test_offline.py).
"""

from __future__ import annotations

import argparse
import contextlib
import copy
import json
import os
import random
import resource
import shlex
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any, NamedTuple

ROOT = Path(__file__).resolve().parents[1]
ENGINE = str(ROOT / "engine")
sys.path.insert(0, ENGINE)
HOSTILE = ["", " ", "\x00", "\x1b]0;owned\x07", "'; drop table batch; --", "../../etc/passwd", "９９", "-1", "1e400", "NaN", "9" * 400, "😀" * 50,
           "\u202egnp", "<script>", "%s%n", "--", "-", "@file", "2024-02-30", "9999-12-31", "0001-01-01", "x" * 20_000, "\udcff",
           "Cercis canadensis", "cold_moist=30", "cold_moist=-5", "fridge", "0", "1/0", "Acer"]  # fmt: skip
MOST_SECONDS, MOST_MEMORY, MOST_OUTPUT = 60, 3 << 30, 2 << 20


class Done(NamedTuple):
    code: int
    said: str
    seconds: float

    def fault(self, codes: Sequence[int] = (0, 1, 2)) -> str:
        """What is wrong with how it ended, or nothing."""
        if self.code not in codes:
            return f"exit {self.code}: {self.said[-300:]}"
        if any(word in self.said for word in ("Traceback", "fault of ours", "Exception ignored")):
            return self.said[-300:]
        return f"{len(self.said)} bytes printed" if len(self.said) > MOST_OUTPUT else ""


def command(words: Sequence[str], typed: bytes = b"", out: str = "", page: str = "utf-8") -> Done:
    """Run a command in a process forked from this one. `out`: where its standard output goes, else it is kept."""
    begun = time.monotonic()
    with tempfile.TemporaryFile() as said, tempfile.TemporaryFile() as keys:
        keys.write(typed)
        keys.seek(0)
        child = os.fork()
        if not child:
            _as_command(words, keys.fileno(), os.open(out, os.O_WRONLY) if out else said.fileno(), said.fileno(), page)
        code = _waited(child, begun + MOST_SECONDS)
        said.seek(0)
        return Done(code, said.read(MOST_OUTPUT + 1).decode("utf-8", "replace"), time.monotonic() - begun)


def done_first(words: Sequence[str]) -> None:
    """What the attack stands on. Raises SystemExit where it cannot be done."""
    done = command(words)
    if done.code:
        raise SystemExit(f"{words}: exit {done.code}\n{done.said}")


def _as_command(words: Sequence[str], keys: int, out: int, said: int, page: str) -> None:
    from rousewort.cli.main import run

    code = 70
    try:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
        for number, handle in enumerate((keys, out, said)):
            os.dup2(handle, number)
        sys.stdin = open(0, encoding=page, closefd=False)  # noqa: SIM115 (open till the end, as is what follows)
        sys.stdout = open(1, "w", encoding=page, closefd=False)  # noqa: SIM115
        sys.stderr = open(2, "w", encoding=page, errors="backslashreplace", closefd=False)  # noqa: SIM115
        sys.argv = ["rousewort", *words]
        run()
    except SystemExit as leaving:
        code = leaving.code if isinstance(leaving.code, int) else 0 if leaving.code is None else 1
    except BaseException as trouble:
        print(f"Traceback: {trouble!r}", file=sys.stderr)
    finally:
        with contextlib.suppress(Exception):
            sys.stderr.flush()
        os._exit(code)


def _waited(child: int, until: float) -> int:
    while time.monotonic() < until:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.005)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return -9


# --- parts: each yields (what was tried, what fell or nothing)

Tried = Iterator[tuple[str, str]]


def lines(count: int, chance: random.Random, place: Path) -> Tried:
    """Command lines of real subcommands and options with hostile words."""
    known = list(_subcommands())
    for n in range(count):
        words, options = chance.choice(known)
        line = list(words)
        for _ in range(chance.randrange(6)):
            option = chance.choice([*options, ""])
            line += ([option] if option else []) + chance.choices(HOSTILE, k=chance.randrange(2))
        folder = place / f"line-{n % 20}"
        folder.mkdir(exist_ok=True)
        os.chdir(folder)
        line = [word.replace("\x00", "\\0") for word in line]  # the system passes none
        yield f"{line}"[:300], command(line, b"\n" * 30).fault()
    os.chdir(place)


def _subcommands() -> Iterator[tuple[list[str], list[str]]]:
    """Every subcommand with its options; without those that serve or measure for minutes."""
    from rousewort.cli.parser import COMMANDS, build_parser

    def walk(parser: argparse.ArgumentParser, words: list[str]) -> Iterator[tuple[list[str], list[str]]]:
        below = [action for action in parser._actions if isinstance(action, argparse._SubParsersAction)]
        yield words, [option for action in parser._actions for option in action.option_strings]
        for action in below:
            for name, child in action.choices.items():
                yield from walk(child, [*words, name])

    for name in COMMANDS:
        if name not in ("agreement", "audit", "calibrate", "bench", "handbook", "gaps"):
            child = build_parser(only=name)._subparsers._group_actions[0].choices[name]  # type: ignore[union-attr]
            yield from walk(child, [name])


HOSTILE_FILES = [
    b"a: &a [x]\n" + b"b: [*a, *a]\n" * 50,
    b"- " * 5000,
    b"{" * 5000,
    b"[" * 20_000,
    b"\xff\xfe",
    b"",
    b"\x00" * 100,
    b"!!python/object:os.system x",
    b"a: 1\n" * 3000,
    b"? " * 3000,
    b"'" * 999,
    b"%YAML 9.9\n---\n",
    b"---\n" * 999,
    b"k: |\n" + b" x\n" * 9999,
    b"<<: {a: 1}",
    b"0x7f: .inf",
]


def yaml_files(count: int, chance: random.Random, place: Path) -> Tried:
    """Entries, rules and treatments of ours, damaged, and files that are hostile from the start, in a private layer."""
    sound = [*sorted((ROOT / "kb").glob("species/*/*.yaml"))[::97], *sorted((ROOT / "kb").glob("rules/*.yaml"))[::23]]
    sound += sorted((ROOT / "kb").glob("treatments/*.yaml"))[::7]
    for n in range(count):
        path = chance.choice(sound)
        layer = place / "layer"
        shutil.rmtree(layer, ignore_errors=True)
        file = layer / path.relative_to(ROOT / "kb")
        file.parent.mkdir(parents=True)
        raw = chance.choice(HOSTILE_FILES) if n % 4 == 0 else _damaged(path.read_bytes(), chance)
        file.write_bytes(raw)
        words = chance.choice(
            [["check"], ["entry", "check", str(file)], ["plan", "Acer rubrum"], ["entry", "fmt", "--check", str(file)]]
        )
        fell = command([*words, "--kb", str(layer)]).fault()
        if not fell and file.read_bytes() != raw:
            fell = "the file was changed"
        yield f"{words[:2]} {path.name}: {raw[:60]!r}", fell


def _damaged(raw: bytes, chance: random.Random) -> bytes:
    for _ in range(chance.randrange(1, 4)):
        at = chance.randrange(max(1, len(raw)))
        until = min(len(raw), at + chance.randrange(1, 60))
        filling = chance.choice(
            [
                b"",
                b"\t",
                b": ",
                b"- ",
                b"{",
                b"]",
                b"*x ",
                b"&x ",
                b"!!x ",
                b"\x85",
                b"\xc3",
                b"9" * 40,
                raw[at:until] * 3,
                b"\r",
                b"null",
                b"~",
            ]
        )
        raw = raw[:at] + filling + raw[until if chance.random() < 0.5 else at :]
    return raw


def exports(count: int, chance: random.Random, place: Path) -> Tried:
    """Exports of a ledger with one thing changed anywhere in them: whatever is let in, the whole ledger works on."""
    where, sound = str(place / "sound.sqlite"), place / "sound.json"
    for name in ("Cercis canadensis", "Viburnum prunifolium"):
        done_first(["batch", "start", name, "--seeds", "50", "--ledger", where])
    done_first(["batch", "note", "1", "--note", "on the top shelf", "--ledger", where])
    done_first(["batch", "export", str(sound), "--ledger", where])
    data = json.loads(sound.read_bytes())
    ways = list(_ways(data))
    mine = str(place / "mine.sqlite")
    done_first(["batch", "start", "Acer rubrum", "--seeds", "9", "--ledger", mine])
    before = Path(mine).read_bytes()
    for _ in range(count):
        Path(mine).write_bytes(before)
        changed = copy.deepcopy(data)
        way = chance.choice(ways)
        at = changed
        for key in way[:-1]:
            at = at[key]
        value = chance.choice(
            [
                None,
                True,
                -1,
                0,
                2**31,
                2**63,
                1e308,
                float("nan"),
                "",
                "x",
                "9999-12-31",
                "0001-01-01",
                [],
                {},
                [[]],
                "\ud800",
                "<b>",
                _deep(300),
            ]
        )
        if chance.random() < 0.2:
            del at[way[-1]]
        else:
            at[way[-1]] = value
        damaged = place / "damaged.json"
        damaged.write_text(
            json.dumps(changed) if chance.random() < 0.9 else json.dumps(changed)[: chance.randrange(5000)]
        )
        told = f"{'.'.join(map(str, way))} is {str(value)[:30]!r}"
        done = command(["batch", "import", str(damaged), "--ledger", mine])
        fell = done.fault()
        for words in (["due"], ["list"], ["results"], ["calendar"], ["due", "--json"]):
            after = command(["batch", *words, "--ledger", mine])
            fell = fell or (f"then batch {words}: {after.fault((0,))}" if after.fault((0,)) else "")
            if words == ["list"] and "ACRU-1" not in after.said:
                fell = fell or "the batch that was there is gone"
        yield told, fell


def _ways(data: Any, way: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    if way:
        yield way
    for key, value in data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ():
        yield from _ways(value, (*way, key))


def _deep(depth: int) -> Any:
    made: Any = 1
    for _ in range(depth):
        made = [made]
    return made


SAW = ["--saw", "cut_test.full=18", "--saw", "cut_test.empty=2"]
READS: dict[str, list[str]] = {
    "order": ["order", "{file}"],
    "winter": ["winter", "{file}", "--plant", "Cercis canadensis", "--sow", "2025-11-01"],
    "trial read": ["trial", "read", "{file}"],
    "trial design": ["trial", "design", "Vigna marina", "--seeds", "400", "--observations", "{file}"],
    "observe": ["observe", "Vigna marina", "--file", "{file}", *SAW],
    "plan seen": ["plan", "Vigna marina", "--observations", "{file}"],
    "winter seen": ["winter", "{sheet}", "--plant", "Vigna marina", "--sow", "2025-11-01", "--observations", "{file}"],
    "calendar": ["calendar", "--plan", "{file}", "--start", "2030-01-01"],
    "labels font": ["labels", "Cercis canadensis", "--start", "2030-01-01", "--out", "{new}", "--font", "{file}"],
    "import": ["batch", "import", "{file}", "--ledger", "{ledger}"],
    "restore": ["batch", "restore", "{file}", "--ledger", "{ledger}"],
    "ledger": ["batch", "list", "--ledger", "{file}"],
    "check": ["entry", "check", "{file}"],
    "fmt": ["entry", "fmt", "{file}"],
    "preview": ["entry", "preview", "{file}"],
    "new from trial": ["entry", "new", "Sallowia ripensis", "--no-ask", "--family", "Salicaceae", "--trial", "{file}", "--kb", "{new}"],
    "new seen": ["entry", "new", "Sallowia ripensis", "--no-ask", "--family", "Salicaceae", "--observations", "{file}", "--kb", "{new}"],
    "works": ["source", "add", "{file}", "--kb", "{new}"],
    "table": ["table", "import", "{file}", "--kb", "{new}"],
    "diff": ["entry", "diff", "--before", "{file}", "--after", "{file}"],
    "layer": ["plan", "Cercis canadensis", "--kb", "{file}"],
}  # fmt: skip
WRITES: dict[str, list[str]] = {
    "order csv": ["order", "{order}", "--csv", "{file}"],
    "order xlsx": ["order", "{order}", "--xlsx", "{file}"],
    "order ics": ["order", "{order}", "--ics", "{file}"],
    "order labels": ["order", "{order}", "--labels", "{file}"],
    "order ledger": ["order", "{order}", "--start", "--ledger", "{file}"],
    "plan pdf": ["plan", "Cercis canadensis", "--pdf", "{file}"],
    "trial sheet": ["trial", "design", "Vigna marina", "--seeds", "400", "--sheet", "{file}"],
    "trial labels": ["trial", "design", "Vigna marina", "--seeds", "400", "--labels", "{file}"],
    "observe": ["observe", "Vigna marina", *SAW, "--save", "{file}"],
    "calendar ics": ["calendar", "Cercis canadensis", "--start", "2030-01-01", "--ics", "{file}"],
    "calendar csv": ["calendar", "Cercis canadensis", "--start", "2030-01-01", "--csv", "{file}"],
    "labels": ["labels", "Cercis canadensis", "--start", "2030-01-01", "--out", "{file}"],
    "batch labels": ["batch", "labels", "--ledger", "{ledger}", "--out", "{file}"],
    "batch start": ["batch", "start", "Cercis canadensis", "--ledger", "{file}"],
    "export": ["batch", "export", "{file}", "--ledger", "{ledger}"],
    "backup": ["batch", "backup", "{file}", "--ledger", "{ledger}"],
    "sample": ["entry", "sample", "3", "-o", "{file}"],
    "tables": ["table", "export", "{file}", "Cercis canadensis"],
}  # fmt: skip


def files(count: int, chance: random.Random, place: Path) -> Tried:
    """Every command that reads or writes a file, given pipes, devices, links, folders, files of others and rubbish."""
    (order := place / "order.csv").write_text("plant,seeds\nCercis canadensis,50\nAcer rubrum,20\n")
    (sheet := place / "normals.csv").write_text("month,mean\n" + "".join(f"{m},{m}\n" for m in range(1, 13)))
    ledger = place / "files.sqlite"
    done_first(["batch", "start", "Cercis canadensis", "--seeds", "10", "--ledger", str(ledger)])
    for kind, commands in (("read", READS), ("write", WRITES)):
        for name, words in commands.items():
            for what in (
                "pipe",
                "zero",
                "null",
                "full",
                "folder",
                "empty",
                "rubbish",
                "text",
                "no folder",
                "file as folder",
            ):
                file, keeps = _put(place, what, chance)
                given = {"file": file, "new": place / "new", "order": order, "sheet": sheet, "ledger": ledger}
                done = command([word.format(**given) for word in words], b"\n" * 9)
                fell = done.fault()
                if not fell and kind == "write" and done.code == 0 and what not in ("empty", "folder"):
                    made = what == "no folder" and file.exists()  # folders on the way may be made
                    fell = "" if made else "written over what is not ours, or told as done and not there"
                if (
                    not fell
                    and kind == "write"
                    and keeps is not None
                    and (not file.is_file() or file.read_bytes() != keeps)
                ):
                    fell = "the file of somebody else is not as it was"
                yield f"{name}, {what}", fell


def _put(place: Path, what: str, chance: random.Random) -> tuple[Path, bytes | None]:
    """A path of that kind, and what stands there if it is a file of somebody else's."""
    folder = place / "given"
    shutil.rmtree(folder, ignore_errors=True)
    shutil.rmtree(place / "new", ignore_errors=True)
    folder.mkdir()
    file = folder / "thing.json"
    keeps = {"rubbish": chance.randbytes(5000), "text": b"My notes of the year.\nDo not lose them.\n"}.get(what)
    if what == "pipe":
        os.mkfifo(file)
    elif what in ("zero", "null", "full"):
        file.symlink_to(f"/dev/{what}")
    elif what == "folder":
        file.mkdir()
    elif what == "no folder":
        return folder / "nowhere" / "thing.json", None
    elif what == "file as folder":
        (folder / "plain").write_text("x")
        return folder / "plain" / "thing.json", None
    else:
        file.write_bytes(keeps or b"")
    return file, keeps


ASKED = """
plan 'Cercis canadensis'
plan 'Cercis canadensis' --full
plan 'Acer rubrum' --json
plan 櫻
find --family Fabaceae
show 'Cercis canadensis'
why 'Cercis canadensis' cold_moist
how acid
check
config
layer
entry check
source show baskin-2004
quantities 'Cercis canadensis' --plants 50
calendar 'Cercis canadensis' --start 2030-01-01
trial design 'Vigna marina' --seeds 400
observe 'Vigna marina' --saw cut_test.full=18 --saw cut_test.empty=2
batch list --ledger {ledger}
batch show 1 --ledger {ledger}
batch due --ledger {ledger}
order {order}
completion bash
plan --help
--help
--version
"""


def consoles(count: int, chance: random.Random, place: Path) -> Tried:
    """Commands on consoles of old code pages, and with a full disk under their output."""
    ledger = str(place / "console.sqlite")
    done_first(["batch", "start", "Cercis canadensis", "--seeds", "10", "--lot", "Žluťoučký 櫻", "--ledger", ledger])
    (place / "order.csv").write_text("plant,seeds\nCercis canadensis,50\n")
    for line in ASKED.strip().splitlines():
        words = [word.format(ledger=ledger, order=place / "order.csv") for word in shlex.split(line)]
        for page in ("cp437", "cp850", "cp1252", "latin-1", "ascii", "utf-8", "utf-16", "shift_jis"):
            yield f"{words[:2]} on {page}", command(words, b"\n" * 9, page=page).fault()
        done = command(words, b"\n" * 9, out="/dev/full")
        yield f"{words[:2]} > /dev/full", done.fault((1, 2))


def kills(count: int, chance: random.Random, place: Path) -> Tried:
    """kill -9 of commands that write, up to eight at once: what was acknowledged is there, once."""
    where = str(place / "killed.sqlite")
    env = {**os.environ, "PYTHONPATH": ENGINE}
    done_first(["batch", "start", "Cercis canadensis", "--seeds", "10", "--ledger", where])
    acknowledged: list[str] = []
    for n in range(count):
        names = [f"note {n}.{i}" for i in range(chance.randrange(1, 9))]
        running = {
            name: subprocess.Popen(
                [sys.executable, "-m", "rousewort.cli.main", "batch", "note", "1", "--note", name, "--ledger", where],
                env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
            )
            for name in names
        }  # fmt: skip
        time.sleep(chance.uniform(0.1, 0.4 + 0.35 * len(names)))
        for name in chance.sample(names, chance.randrange(1, len(names) + 1)):
            running[name].kill()
        acknowledged += [name for name, process in running.items() if process.wait(MOST_SECONDS) == 0]
        out = place / "killed.json"
        done = command(["batch", "export", str(out), "--ledger", where])
        fell = done.fault((0,))
        if not fell:
            found = Counter(e["data"].get("note") for b in json.loads(out.read_bytes())["batches"] for e in b["events"])
            lost, doubled = [a for a in acknowledged if not found[a]], [a for a in found if found[a] > 1]
            fell = f"lost {lost}, doubled {doubled}" if lost or doubled else ""
        yield f"{len(names)} writers, {len(acknowledged)} acts acknowledged so far", fell


PARTS: dict[str, tuple[Callable[[int, random.Random, Path], Tried], int]] = {
    "files": (files, 0), "consoles": (consoles, 0), "exports": (exports, 150), "yaml": (yaml_files, 400),
    "lines": (lines, 1000), "kills": (kills, 50),
}  # fmt: skip


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("parts", nargs="*", choices=[*PARTS, []], help="which; none: all")
    parser.add_argument(
        "--count",
        type=int,
        help="how often, where a part draws; else " + ", ".join(f"{n} {c}" for n, (_, c) in PARTS.items() if c),
    )
    parser.add_argument("--seed", type=int, default=1)
    words = parser.parse_args()
    place = Path(tempfile.mkdtemp(prefix="rousewort-attack-"))
    for name in ("XDG_CACHE_HOME", "XDG_CONFIG_HOME", "XDG_DATA_HOME", "TMPDIR", "HOME"):
        (place / name).mkdir()
        os.environ[name] = str(place / name)
    tempfile.tempdir = None
    for name in ("ROUSEWORT_KB", "ROUSEWORT_LEDGER"):
        os.environ.pop(name, None)
    os.chdir(place)
    command(["plan", "Cercis canadensis"])  # the cache is made once
    status = 0
    for name in words.parts or PARTS:
        part, usual = PARTS[name]
        begun, tried, fallen = time.monotonic(), 0, []
        for what, fell in part(words.count or usual, random.Random(f"{words.seed} {name}"), place):
            tried += 1
            if fell:
                fallen.append(what)
                print(f"FELL {name}: {what}\n     {fell}", flush=True)
        print(f"{name}: {tried} tried, {len(fallen)} fell, {time.monotonic() - begun:.0f} s", flush=True)
        status |= bool(fallen)
    os.chdir("/")
    shutil.rmtree(place, ignore_errors=True)
    return status


if __name__ == "__main__":
    sys.exit(main())
