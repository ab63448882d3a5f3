"""Whatever the console is, a command ends in one plain line and in the exit code of what it did."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from rousewort.base.secrets import masked
from rousewort.knowledge.knowledge_base import cache_folder
from rousewort.ledger.opening import open_ledger

RUN = [sys.executable, "-m", "rousewort.cli.main"]
ENGINE = str(Path(__file__).parents[2] / "engine")


def typed(line: str, **env: str) -> subprocess.CompletedProcess[bytes]:
    """A line of the shell; `$R` is the command."""
    command = " ".join(RUN)
    given = {**os.environ, "PYTHONPATH": ENGINE, **env}
    return subprocess.run(["bash", "-c", line.replace("$R", command)], capture_output=True, env=given, timeout=120)


def plain(done: subprocess.CompletedProcess[bytes]) -> str:
    said = done.stderr.decode(errors="replace")
    assert "Traceback" not in said and "Exception ignored" not in said and "fault of ours" not in said, said
    return said


@pytest.mark.parametrize("closed", ["> /dev/full", ">&-", "| true", "> /dev/full 2>&1", ">&- 2>&-", "<&- >&- 2>&-"])
def test_what_is_recorded_is_told_as_done_whatever_the_console_takes(tmp_path: Path, closed: str) -> None:
    """Told as failed, it would be done once more: two batches where there is one."""
    where = tmp_path / "l.sqlite"
    done = typed(f"$R batch start 'Cercis canadensis' --seeds 10 --ledger {where} {closed}; exit ${{PIPESTATUS[0]}}")
    said = plain(done)
    assert done.returncode == 0, said
    with open_ledger(where) as ledger:
        assert [b.seeds for b in ledger.batches()] == [10]
    if closed == "> /dev/full":
        assert "cannot be written" in said and "is recorded" in said


@pytest.mark.parametrize(
    "words", ["plan 'Cercis canadensis'", "plan 'Cercis canadensis' --json", "find --family Fabaceae"]
)
def test_full_disk_under_the_output_is_one_line_and_no_success(words: str) -> None:
    done = typed(f"$R {words} > /dev/full")
    assert done.returncode == 2 and "No space left" in plain(done)
    assert typed(f"$R {words} > /dev/full 2>&1").returncode == 2
    done = typed(f"$R {words} >&-")
    assert done.returncode == 0 and "cannot be" not in plain(done)
    assert typed("$R plan 'Qqqq wwww' 2>&-").stdout == b""  # what belongs on standard error goes nowhere else


@pytest.mark.parametrize("words", ["--help", "plan --help", "--version"])
def test_help_that_could_not_be_printed_is_no_success(words: str) -> None:
    for unbuffered in ("", "1"):
        done = typed(f"$R {words} > /dev/full", PYTHONUNBUFFERED=unbuffered)
        assert done.returncode == 2 and "No space left" in plain(done)


def test_package_run_as_a_module_is_the_command() -> None:
    line = f"{sys.executable} -m rousewort plan 'Cercis canadensis'"
    assert typed(line).stdout == typed("$R plan 'Cercis canadensis'").stdout != b""
    wrong = typed(f"{sys.executable} -m rousewort plan")
    assert wrong.returncode == 2 and "usage: rousewort plan" in plain(wrong)


@pytest.mark.parametrize("page", ["cp437", "cp850", "latin-1", "ascii", "cp1251", "utf-8"])
def test_console_of_an_old_code_page_gets_text_that_it_can_show(page: str) -> None:
    text = typed("$R plan 'Cercis canadensis'", PYTHONIOENCODING=page)
    assert text.returncode == 0 and "cold" in text.stdout.decode(page) and plain(text) == ""
    data = typed("$R plan 'Cercis canadensis' --json", PYTHONIOENCODING=page)
    same = typed("$R plan 'Cercis canadensis' --json", PYTHONIOENCODING="utf-8")
    assert json.loads(data.stdout.decode(page)) == json.loads(same.stdout)  # JSON loses nothing


def test_typewriter_signs_stand_for_what_a_code_page_has_not() -> None:
    text = typed("$R plan 'Cercis canadensis'", PYTHONIOENCODING="ascii").stdout.decode()
    full = typed("$R plan 'Cercis canadensis'", PYTHONIOENCODING="utf-8").stdout.decode()
    assert "–" in full and re.search(r"[0-9]-[0-9]", text) and "?" not in text.replace("?", "", full.count("?"))


HOSTILE = "\x1b]0;owned\x07\x1b[2Jlot\x9b31m\r\u202egnp"


def test_nothing_in_data_is_obeyed_by_a_terminal(tmp_path: Path) -> None:
    from terminals import in_a_terminal  # type: ignore[import-not-found]  # needs a pseudo-terminal

    where = tmp_path / "l.sqlite"
    assert (
        typed(f'$R batch start "Cercis canadensis" --lot "$LOT" --note "$LOT" --ledger {where}', LOT=HOSTILE).returncode
        == 0
    )
    for words in (["batch", "show", "1"], ["batch", "list"], ["plan", HOSTILE]):
        ends = [*words, *(["--ledger", str(where)] if words[0] == "batch" else [])]
        env = {k: v for k, v in os.environ.items() if k != "NO_COLOR"} | {"TERM": "xterm", "PYTHONPATH": ENGINE}
        sent = in_a_terminal(*ends, env=env, types=b"\n\n")  # where it asks which plant is meant: none of them
        text = sent.replace("\r\n", "\n")
        left = re.sub("\x1b\\[(0|1|2|33|1;32)m", "", text)
        assert not re.search("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e]", left), (words, left)
        piped = subprocess.run([*RUN, *ends], capture_output=True, text=True, env=env)
        assert "\x1b" not in piped.stdout + piped.stderr


def test_json_keeps_control_signs_as_they_were_escaped(tmp_path: Path) -> None:
    where = tmp_path / "l.sqlite"
    typed(f'$R batch start "Cercis canadensis" --lot "$LOT" --ledger {where}', LOT=HOSTILE)
    done = typed(f"$R batch show 1 --json --ledger {where}")
    assert not re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f]", done.stdout.decode())
    assert json.loads(done.stdout)["lot"] == HOSTILE


def test_questions_of_observe_stay_out_of_its_json() -> None:
    done = typed("printf '18\\n2\\n\\n\\n\\n\\nq\\n' | $R observe 'Vigna marina' --json")
    assert done.returncode == 0, plain(done)
    json.loads(done.stdout)
    assert "q ends" in plain(done)


@pytest.mark.parametrize("place", [0.02, 0.1, 0.3, 0.5, 0.7, 0.9])
def test_cache_with_flipped_bits_heals_itself(place: float, tmp_path: Path) -> None:
    env = {"XDG_CACHE_HOME": str(tmp_path)}
    words = "$R plan 'Cercis canadensis' --json"
    first = typed(words, **env)
    (cache,) = (tmp_path / "rousewort").glob("*.sqlite")
    data = bytearray(cache.read_bytes())
    start = int(len(data) * place)
    for at in range(start, start + 400_000, 97):
        data[at % len(data)] ^= 0x10
    cache.write_bytes(data)
    for words_now in (words, "$R find --family Fabaceae", words):
        done = typed(words_now, **env)
        assert done.returncode == 0, plain(done)
        if words_now == words:
            assert done.stdout == first.stdout


def test_folder_that_cannot_be_written_is_one_line(tmp_path: Path) -> None:
    where = tmp_path / "file"
    where.write_text("")
    for line in (
        f"$R batch start 'Cercis canadensis' --ledger {where}/l.sqlite",
        f"$R calendar 'Cercis canadensis' --start 2030-01-01 --ics {where}/x.ics",
        f"$R entry new 'Sallowia ripensis' --family Salicaceae --no-ask --kb {where}/layer",
        f"$R observe 'Vigna marina' --saw cut_test.full=18 --saw cut_test.empty=2 --save {where}/x.yaml",
        f"$R table export {where}/folder 'Cercis canadensis'",
    ):
        done = typed(line)
        assert done.returncode == 2, (line, plain(done))
        assert len(plain(done).splitlines()) <= 3


def test_no_place_for_temporary_files_or_cache_is_no_fault(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("")
    done = typed("$R plan 'Cercis canadensis'", XDG_CACHE_HOME=f"{blocked}/x", TMPDIR=f"{blocked}/y")
    assert done.returncode == 0 and plain(done) == ""


SECRETS = [
    ("postgresql://ana:hunter22@db/nursery", "hunter22"),
    ("postgresql+psycopg://ana:p%40ss:word@db/x?y=1", "p%40ss:word"),
    ("['batch', 'due', '--ledger', 'postgresql://ana:s3cret@db/x']", "s3cret"),
    ("host=db password=hunter22 user=ana", "hunter22"),
    ("postgresql://db/x?password=hunter22&user=ana", "hunter22"),
    ("{'password': 'hunter 22'}", "hunter 22"),
]


@pytest.mark.parametrize(("text", "secret"), SECRETS)
def test_passwords_are_masked(text: str, secret: str) -> None:
    assert secret not in masked(text) and "***" in masked(text)


def test_password_of_the_environment_is_masked_and_plain_words_stay(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ROUSEWORT_BENCH_PASSWORD", "correct horse")
    assert (
        masked("tried correct horse at http://127.0.0.1:8472/batch/1C") == "tried *** at http://127.0.0.1:8472/batch/1C"
    )


def test_fault_file_that_asks_to_be_sent_holds_no_password(tmp_path: Path) -> None:
    script = (
        "import sys, tempfile; tempfile.tempdir = sys.argv[1]\n"
        "import rousewort.cli.batching as b\n"
        "def broken(arguments, **_):\n    password = arguments.ledger\n    raise RuntimeError(f'lost {arguments.ledger}')\n"
        "b.open_for = broken\n"
        "from rousewort.cli.main import main\n"
        "sys.exit(main(['batch', 'due', '--ledger', 'postgresql://ana:hunter22@db/nursery']))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, str(tmp_path)],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": ENGINE},
    )
    (log,) = tmp_path.glob("rousewort-fault-*")
    assert (
        done.returncode == 3 and "hunter22" not in done.stderr + log.read_text() and "RuntimeError" in log.read_text()
    )


def test_tests_have_a_cache_of_their_own() -> None:
    assert "pytest" in str(cache_folder())
