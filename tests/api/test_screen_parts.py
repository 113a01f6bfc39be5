"""Long lists of finds: cut into parts, worked on by several, stopped and gone on with."""

from __future__ import annotations

import csv
import errno
import gc
import io
import json
import os
import signal
import subprocess
import sys
import tempfile
import time
import weakref

import pandas as pd
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

import api.screen
import api.screentext
from api import crew, parts, screenparts
from api.command import main
from api.findrows import ToldOfFinds
from api.library import shelf, today
from api.screening import Screener

from .test_docs import ROOT
from .test_findlist import read

HEAD = "id,machine_class,title,asking_price,currency,travel_km,travel_minutes,age_years,complaints,seen_on\n"
KINDS = (
    "mower_walk_behind,push mower (invented),{},USD,10,20,4,will_not_start,2026-04-01\n",
    "leaf_blower,\"leaf blower,\nof two lines (invented)\",{},USD,10,20,4,,2026-04-01\n",
    "leaf_blower,=2+2,{},USD,10,20,400,,2026-04-01\n",
    "leaf_blower,asks nothing yet (invented),,USD,10,20,4,,2026-05-01\n",
)  # fmt: skip


def finds(many):
    """Return a list of so many finds, one in four of them at fault."""
    rows = (f"f{i}," + KINDS[i % len(KINDS)].format(i) for i in range(many))
    return HEAD + "".join(rows)


@pytest.fixture
def run(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "finds.csv").write_text(finds(40), encoding="utf-8")
    return lambda *args, **more: CliRunner().invoke(main, ["screen", *args], **more)


@pytest.fixture
def small(monkeypatch):
    """Parts of some kilobyte, so that a short list has several."""
    monkeypatch.setattr(api.parts, "PART", 1_000)
    monkeypatch.setattr(api.parts, "SMALL", 1_000)
    monkeypatch.setattr(api.parts, "LONG", 1_000)


def of(body, size=1_000):
    return list(parts.parts_of(io.BytesIO(body.encode()), "list.csv", {}, size))


CELL = st.text(st.sampled_from('ab;,"\n \r'), max_size=8)
INCHES = st.sampled_from(['21" deck', 'a "b" c', ' 6"', ' "q" 3"', '"two"" of it"', "x"])  # written as they stand
NOTE = st.one_of(st.tuples(st.just(True), CELL), st.tuples(st.just(False), INCHES))
LINES = st.lists(st.tuples(NOTE, st.integers(0, 60), st.booleans()), min_size=1, max_size=30)


@given(LINES, st.integers(150, 900), st.booleans(), st.sampled_from(["", "finds of May\n", "\n\n"]))
@settings(max_examples=100, deadline=None)
def test_parts_are_the_whole(lines, size, ended, above):
    """Row by row, with the numbers that they have in the whole; quotation marks and line ends in cells as well."""
    body = io.StringIO(newline="")
    body.write(f"{above}id,machine_class,note,age_years,currency\n")
    writer = csv.writer(body, lineterminator="\n", quoting=csv.QUOTE_ALL)
    for i, ((quoted, note), age, blank) in enumerate(lines):
        if quoted:
            writer.writerow((f"f{i}", "leaf_blower", note, age, "USD"))
        else:
            body.write(f"f{i},leaf_blower,{note},{age},USD\n")
        body.write("\n" * blank)
    text = body.getvalue() if ended else body.getvalue().rstrip("\n")
    whole = read(text, ToldOfFinds())
    found = [parts_read(p, ToldOfFinds()) for p in parts.parts_of(io.BytesIO(text.encode()), "list.csv", {}, size)]
    for name in ("row", "id", "note", "age_years"):
        assert [x for f in found for x in f.rows[name]] == whole.rows[name].tolist()
    assert sum(f.read for f in found) == whole.read


def parts_read(part, told):
    from api.findlist import read_finds
    from api.library import shelf

    return read_finds(part.body, "list.csv", told, shelf(), today(), before=part.before)


def test_a_record_longer_than_a_part_stays_whole():
    row = "{},leaf_blower,{},5,USD,1,1,4,,2026-04-01\n"
    text = HEAD + row.format("a", '"' + "x\n" * 90 + '"') + row.format("b", "")
    found = of(text, 100)
    assert [r for p in found for r in parts_read(p, ToldOfFinds()).rows["row"]] == [2, 3]


@pytest.mark.parametrize("body", ["\n\n\n", HEAD, HEAD + "\n,,\n", "no,headers\n1,2\n"])
def test_a_long_list_of_nothing(run, small, tmp_path, body):
    (tmp_path / "finds.csv").write_text(body + "\n" * 3_000)
    whole = run("finds.csv")
    assert (whole.exit_code, whole.stdout) == (2, "")
    assert "list of finds" in whole.stderr


def test_only_what_has_line_ends_of_a_byte_is_cut():
    assert parts.begins_cuttable(b"id,a\n1,2\n", seekable=False)
    assert not parts.begins_cuttable("id,a\n1,2\n".encode("utf-16"), seekable=True)
    assert not parts.begins_cuttable(b"PK\x03\x04...\n", seekable=True)
    assert not parts.begins_cuttable(b"id,a\r1,2\r", seekable=True)
    assert parts.begins_cuttable(b"PAR1...", seekable=True)
    assert not parts.begins_cuttable(b"PAR1...", seekable=False)


def rows_of(text):
    return sorted(csv.DictReader(io.StringIO(text)), key=lambda r: int(r["row"]))


def told(done):
    """What is said apart from the order in which notes come."""
    return sorted(done.stdout.splitlines())


def test_in_parts_as_at_once(run, small, tmp_path, monkeypatch):
    """The same finds, ranks and sums, the same rows left out."""
    args = ("finds.csv", "--hours", "20", "--workers", "1")
    in_parts = run(*args, "--csv", "parts.csv", "--parquet", "parts.parquet")
    left = (tmp_path / "finds.csv.left-out.csv").read_bytes()
    monkeypatch.setattr(api.parts, "LONG", 10**9)
    at_once = run(*args, "--csv", "once.csv")
    assert (in_parts.exit_code, at_once.exit_code) == (0, 0), in_parts.output
    assert in_parts.stdout == at_once.stdout
    assert in_parts.stderr == at_once.stderr
    once, cut = ((tmp_path / f"{x}.csv").read_text(encoding="utf-8") for x in ("once", "parts"))
    assert rows_of(cut) == rows_of(once)
    assert [r["row"] for r in csv.DictReader(io.StringIO(cut))] == [r["row"] for r in rows_of(once)], "in their order"
    kept = pd.read_parquet(tmp_path / "parts.parquet")
    assert [str(x) for x in kept["highest_offer"]] == [r["highest_offer"] for r in rows_of(once)]
    assert (tmp_path / "finds.csv.left-out.csv").read_bytes() == left
    assert left.count(b"age_years: got") == 10


def test_in_parts_by_several(run, small, tmp_path):
    """Kinds of the first part are worked out by one process each, and known to all."""
    alone = run("finds.csv", "--workers", "1", "--csv", "one.csv")
    both = run("finds.csv", "--workers", "2", "--csv", "two.csv")
    assert (both.stdout, both.stderr) == (alone.stdout, alone.stderr)
    assert (tmp_path / "two.csv").read_bytes() == (tmp_path / "one.csv").read_bytes()


def test_what_one_process_knows_another_takes_over(monkeypatch):
    found = read(finds(40), ToldOfFinds())
    one, other = (Screener(shelf(), None, {}) for _ in range(2))
    table, late = one.screen(found)
    other.learn(one.appraised(found))
    monkeypatch.setattr(other, "_screening", None)  # nothing is left to appraise
    again, late_again = other.screen(found)
    assert again.equals(table)
    assert late_again == late


def test_in_parts_from_standard_input(run, small):
    whole = finds(40)
    by_name, piped = (run(x, "--json", "--workers", "1", input=whole) for x in ("finds.csv", "-"))
    first, second = (json.loads(x.stdout) for x in (by_name, piped))
    assert first == second
    assert (first["read"], first["left_out"]) == (40, 10)
    assert len(first["finds"]) == max(10, first["shortlist"]["buy"])


DATED = "machine_class,price,currency,age,date,note\n"
PLAIN = 25  # rows that fill a part of these tests


def dated(*rows):
    """Return a list of leaf blowers: price and day of each, and after each as many that tell neither as fill a part."""
    plain = "leaf_blower,10,USD,4,2026-04-01,as usual (invented)\n"
    return DATED + "".join(f"leaf_blower,{price},USD,4,{day},told (invented)\n" + plain * PLAIN for price, day in rows)


COMMAS = ('"1.234,50"', "13/4/2026"), "1.234"
POINTS = ("1234.50", "4/13/2026"), '"1,234"'


@pytest.mark.parametrize(
    ("first", "open_price", "more"),
    [
        (*COMMAS, ("--workers", "1")),
        (*POINTS, ("--workers", "1", "--parts", "kept")),
        (*POINTS, ("--workers", "2")),
    ],
)
def test_what_the_first_part_tells_holds_for_the_others(run, small, tmp_path, monkeypatch, first, open_price, more):
    """A price and a day that could be either, of a later part, are read as they are at once."""
    (tmp_path / "finds.csv").write_text(dated(first, (open_price, "3/4/2026")))
    in_parts = run("finds.csv", "--csv", "parts.csv", *more)
    assert in_parts.exit_code == 0, in_parts.output
    monkeypatch.setattr(api.parts, "LONG", 10**9)
    assert run("finds.csv", "--csv", "once.csv", "--workers", "1").stdout == in_parts.stdout
    once, cut = ((tmp_path / f"{x}.csv").read_text(encoding="utf-8") for x in ("once", "parts"))
    assert rows_of(cut) == rows_of(once)
    assert ",1234.00," in cut


@pytest.mark.parametrize("more", [(), ("--parts", "kept")])
@pytest.mark.parametrize(
    ("told", "column", "value", "rule"),
    [
        # The first part tells, and a later one otherwise; or the first leaves it open.
        ([(10, "13/4/2026"), (10, "4/13/2026")], "date (the part of it from row 20)", '"13/4/2026" in row 2, '
         '"4/13/2026" in row 28', "the day comes first in some rows and the month in others"),
        ([(1.5, ""), ('"2,5"', "")], "price (the part of it from row 20)", '"1.5" in row 2, "2,5" in row 28',
         "a column has one decimal sign"),
        ([(10, ""), (10, "13/4/2026"), (10, "4/13/2026")], "date", '"13/4/2026" in row 28, "4/13/2026" in row 54',
         "the day comes first in some rows and the month in others"),
        ([(10, ""), (1.5, ""), ('"2,5"', "")], "price", '"1.5" in row 28, "2,5" in row 54',
         "a column has one decimal sign"),
    ],
)  # fmt: skip
def test_parts_that_contradict_each_other_are_refused(run, small, tmp_path, told, column, value, rule, more):
    (tmp_path / "finds.csv").write_text(dated(*told))
    done = run("finds.csv", "--workers", "1", *more)
    assert (done.exit_code, done.stdout) == (2, "")
    assert done.stderr == f"finds.csv: {column}: got {value}; {rule}. write the whole column one way.\n"


def test_what_is_said_of_days_holds_for_all_parts(run, small, tmp_path):
    (tmp_path / "finds.csv").write_text(dated((10, "13/4/2026"), (10, "4/13/2026")))
    done = run("finds.csv", "--dates", "month", "--json", "--workers", "1")
    assert done.exit_code == 0, done.stderr
    assert json.loads(done.stdout)["left_out"] == 1


def test_parts_kept_are_those_read_the_same_way(run, small, tmp_path):
    """A first part that tells otherwise changes what the others say."""
    args = ("finds.csv", "--csv", "out.csv", "--parts", "kept", "--workers", "1")
    (tmp_path / "finds.csv").write_text(dated((10, "13/4/2026"), (10, "3/4/2026")))
    assert run(*args).exit_code == 0
    before = {x.name for x in (tmp_path / "kept").glob("*.parquet")}
    (tmp_path / "finds.csv").write_text(dated((10, "4/13/2026"), (10, "3/4/2026")))
    assert run(*args).exit_code == 0
    after = {x.name for x in (tmp_path / "kept").glob("*.parquet")} - before
    assert {x[:11] for x in after} == {x[:11] for x in before}
    assert run(*args).exit_code == 0
    assert {x.name for x in (tmp_path / "kept").glob("*.parquet")} == before | after


def test_parquet_in_parts(run, tmp_path, monkeypatch):
    monkeypatch.setattr(api.parts, "PART_ROWS", 7)
    table = pd.read_csv(io.StringIO(finds(40)), dtype={"id": str})
    table.to_parquet(tmp_path / "finds.parquet")
    monkeypatch.setattr(api.parts, "PART", 1_000)
    monkeypatch.setattr(api.parts, "SMALL", 1_000)
    monkeypatch.setattr(api.parts, "LONG", 1_000)
    in_parts = json.loads(run("finds.parquet", "--json", "--workers", "1").stdout)
    monkeypatch.setattr(api.parts, "LONG", 10**9)
    at_once = json.loads(run("finds.parquet", "--json", "--workers", "1").stdout)
    assert in_parts["finds"] == at_once["finds"][: len(in_parts["finds"])]
    assert in_parts["shortlist"] == at_once["shortlist"]


def test_what_is_kept_is_not_worked_out_again(run, small, tmp_path, monkeypatch):
    args = ("finds.csv", "--hours", "20", "--workers", "1", "--parts", "kept")
    first = run(*args)
    assert first.exit_code == 0, first.output
    kept = {x.name: x.stat().st_mtime_ns for x in (tmp_path / "kept").iterdir()}
    assert sum(x.endswith(".parquet") for x in kept) > 2
    done = []
    usual = screenparts.screen_part
    monkeypatch.setattr(screenparts, "screen_part", lambda part, **k: done.append(part.number) or usual(part, **k))
    again = run(*args)
    assert (again.stdout, done) == (first.stdout, [])
    assert {x.name: x.stat().st_mtime_ns for x in (tmp_path / "kept").iterdir()} == kept
    # A part that changed is worked out anew; rows added at the end leave what stands above them.
    text = finds(40)
    (tmp_path / "finds.csv").write_text(text[: -len("2026-05-01\n")] + "2026-06-01\n", encoding="utf-8")
    assert run(*args).exit_code == 0
    assert done == [max(int(x[5:11]) for x in kept)]
    done.clear()
    (tmp_path / "finds.csv").write_text(text, encoding="utf-8")
    assert (run(*args).stdout, done) == (first.stdout, []), "what was made before is still there"
    for rest in (tmp_path / "kept").glob("part-000000*.left-out.csv"):
        rest.unlink()
    assert (run(*args).stdout, done) == (first.stdout, [0]), "a part is whole with its rows at fault alone"
    done.clear()
    # Other terms hold for all of them.
    (tmp_path / "terms.json").write_text('{"terms": {"hour_worth": "90.00"}}')
    assert run(*args, "--terms", "terms.json").exit_code == 0
    assert len(done) == sum(x.endswith(".parquet") for x in kept)


def test_a_run_that_was_stopped_goes_on(run, small, tmp_path, monkeypatch):
    """What was done is kept whole, nothing is half-written, and the end is the same."""
    usual, done = screenparts.screen_part, []

    def stops(part, **more):
        if len(done) == 2:
            raise KeyboardInterrupt
        done.append(part.number)
        return usual(part, **more)

    args = ("finds.csv", "--workers", "1", "--parts", "kept", "--csv", "out.csv")
    monkeypatch.setattr(screenparts, "screen_part", stops)
    stopped = run(*args)
    assert stopped.exit_code == 1
    assert "run it again" in stopped.stderr
    assert not (tmp_path / "out.csv").exists()
    assert {x.name[:11] for x in (tmp_path / "kept").iterdir()} == {"part-000000", "part-000001"}
    monkeypatch.setattr(screenparts, "screen_part", usual)
    on = run(*args)
    after = (tmp_path / "out.csv").read_bytes()
    assert run("finds.csv", "--workers", "1", "--csv", "out.csv").stdout == on.stdout
    assert (tmp_path / "out.csv").read_bytes() == after


@pytest.fixture
def aside(tmp_path, monkeypatch):
    """Where files for a run alone go."""
    (tmp_path / "aside").mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "aside"))
    return tmp_path / "aside"


def test_parts_of_a_run_alone_are_on_disk_and_then_gone(run, small, aside, monkeypatch):
    """However the run ends; meanwhile none is held in memory."""
    pytest.importorskip("pyarrow", reason="the parquet extra is not installed")
    usual, tables, there = screenparts.screen_part, [], []

    def screen_part(part, **more):
        there.append(len(list(aside.glob("mendworth-*/part-*.parquet"))))
        gc.collect()
        assert [t() for t in tables[:-1]] == [None] * len(tables[:-1])  # the last one may be in hand
        done = usual(part, **more)
        tables.append(weakref.ref(done.table))
        return done

    args = ("finds.csv", "--workers", "1", "--csv", "out.csv")
    monkeypatch.setattr(screenparts, "screen_part", screen_part)
    assert run(*args).exit_code == 0
    assert there == list(range(len(there)))
    assert len(there) > 2
    assert list(aside.iterdir()) == []

    def stops(part, **more):
        if part.number == 2:
            assert list(aside.glob("mendworth-*/part-*.parquet"))
            raise KeyboardInterrupt
        return usual(part, **more)

    monkeypatch.setattr(screenparts, "screen_part", stops)
    stopped = run(*args)
    assert (stopped.exit_code, stopped.stderr.strip()[-8:]) == (1, "Stopped.")
    monkeypatch.setattr(screenparts, "screen_part", usual)
    monkeypatch.setattr(api.screentext, "wrap", lambda *_: 1 / 0)
    assert run(*args).exit_code == 1
    assert list(aside.iterdir()) == []


def test_where_no_parts_can_be_kept_they_are_held(run, small, aside, tmp_path, monkeypatch):
    """The same answer where the disk is full, where nothing can be written, and without pyarrow."""
    args = ("finds.csv", "--hours", "20", "--workers", "1", "--csv", "out.csv")
    usual, out = run(*args), (tmp_path / "out.csv").read_bytes()
    asked = []

    def full(*about):
        asked.append(about)
        raise OSError(errno.ENOSPC, "No space left on device")

    for ways in ([(screenparts.Folder, "keep")], [(tempfile, "TemporaryDirectory")]):
        with monkeypatch.context() as m:
            for where, name in ways:
                m.setattr(where, name, lambda *about, **_: full(*about))
            done = run(*args)
            assert (done.stdout, done.stderr, (tmp_path / "out.csv").read_bytes()) == (usual.stdout, usual.stderr, out)
            assert asked
            asked.clear()
            if where is screenparts.Folder:
                assert run(*args, "--parts", "kept").exit_code == 2, "what is asked for is not left undone"
    with monkeypatch.context() as m:
        m.setitem(sys.modules, "pyarrow", None)
        assert run(*args).stdout == usual.stdout


def dies_once(task):
    """Kill this process at the first try of a task."""
    number, marks = task
    mark = os.path.join(marks, str(number))
    if number in (1, 4) and not os.path.exists(mark):
        with open(mark, "w"):
            pass
        os.kill(os.getpid(), signal.SIGKILL)
    return number * number


def dies(task):
    os.kill(os.getpid(), signal.SIGKILL)


@pytest.mark.slow
def test_a_worker_that_dies_loses_nothing(tmp_path):
    tasks = [(i, str(tmp_path)) for i in range(8)]
    found = dict(crew.work_on(tasks, dies_once, crew.Crew(2)))
    assert found == {i: i * i for i in range(8)}
    with pytest.raises(crew.AllDiedError):
        list(crew.work_on(tasks, dies, crew.Crew(2)))


@pytest.mark.slow
def test_on_a_cluster_of_this_machine(run, small):
    """The same answer as without it, and a worker that is killed loses nothing."""
    pytest.importorskip("distributed", reason="the cluster extra is not installed")
    args = ("finds.csv", "--json", "--hours", "20")
    alone, spread = run(*args, "--workers", "1"), run(*args, "--workers", "2", "--scheduler", "local")
    assert spread.exit_code == 0, spread.output
    assert spread.stdout == alone.stdout


@pytest.mark.slow
def test_a_cluster_whose_worker_dies(tmp_path):
    pytest.importorskip("distributed", reason="the cluster extra is not installed")
    tasks = [(i, str(tmp_path)) for i in range(8)]
    assert dict(crew.work_on(tasks, dies_once, crew.Crew(2, "local"))) == {i: i * i for i in range(8)}


@pytest.mark.slow
def test_no_scheduler_there(run):
    pytest.importorskip("distributed", reason="the cluster extra is not installed")
    done = run("finds.csv", "--scheduler", "tcp://127.0.0.1:1")
    assert (done.exit_code, done.stdout) == (2, "")
    assert "--scheduler: got tcp://127.0.0.1:1; no scheduler answers there" in done.stderr


@pytest.mark.slow
@pytest.mark.parametrize("parts", [("--parts", "kept"), ()])
def test_ctrl_c_stops_it_at_once(tmp_path, parts):
    """A real program with workers of its own: it ends soon, says how to go on, and leaves no half-written file."""
    sample = (ROOT / "sample_prices/finds.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    (tmp_path / "finds.csv").write_text("".join(sample[:400]), encoding="utf-8")
    program = "import sys, api.parts as p; p.SMALL = p.LONG = p.PART = 4000; sys.argv[0] = 'mendworth'; "
    program += "from api.command import main; main()"
    call = [
        sys.executable,
        "-c",
        program,
        "screen",
        "finds.csv",
        "--workers",
        "2",
        *parts,
        "--csv",
        "out.csv",
    ]
    (tmp_path / "aside").mkdir()
    env = {**os.environ, "PYTHONPATH": str(ROOT), "TMPDIR": str(tmp_path / "aside")}
    made = "kept/part-*.parquet" if parts else "aside/mendworth-*/part-*.parquet"
    with subprocess.Popen(  # noqa: S603 - our own program
        call, cwd=tmp_path, env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
    ) as running:
        begin = time.monotonic()
        while not list(tmp_path.glob(made)):
            assert time.monotonic() - begin < 120
            time.sleep(0.2)
        os.killpg(running.pid, signal.SIGINT)
        out, said = running.communicate(timeout=30)
    assert (running.returncode, out) == (1, "")
    assert said.strip() == ("Stopped. What was done is in kept: run it again to go on." if parts else "Stopped.")
    assert list((tmp_path / "aside").iterdir()) == []
    assert not (tmp_path / "out.csv").exists()
    assert not [x for x in tmp_path.rglob("*") if x.name.startswith(".")]
