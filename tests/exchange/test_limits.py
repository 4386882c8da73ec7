"""Small files that unpack to much, or are slow to take in, are refused while they are read."""

import io
import resource
import subprocess
import sys
import time
import zipfile
from datetime import date, timedelta

import openpyxl
import pytest

from flockcare.birds.models import Bird
from flockcare.exchange import limits
from flockcare.exchange.labels import label_birds
from flockcare.exchange.services import Refused, check, read_folder
from flockcare.exchange.spreadsheet import workbook
from flockcare.exchange.spreadsheet.sheet import Sheet, read_sheet, read_text
from flockcare.people.models import Flock
from tests.exchange.big_flock import write_big_flock
from tests.exchange.folders import write_folder

BIRD = {"bird": "Dill"}


def packed(folder, **files) -> str:
    path = folder / "records.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in files.items():
            archive.writestr(f"{name}.csv", text)
    return str(path)


def refusal(path) -> str:
    with pytest.raises(Refused) as refused:
        read_folder(path)
    return str(refused.value)


def book_with(sheet: bytes) -> bytes:
    """A workbook whose sheet holds these rows, as XML."""
    plain = io.BytesIO()
    openpyxl.Workbook().save(plain)
    out = io.BytesIO()
    with zipfile.ZipFile(plain) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            data = old.read(name)
            if name.endswith("sheet1.xml"):
                assert b"</sheetData>" in data
                data = data.replace(b"</sheetData>", sheet + b"</sheetData>")
            new.writestr(name, data)
    return out.getvalue()


def refused_table(data: bytes) -> str:
    try:
        read_sheet(data)
    except ValueError as refused:
        return str(refused)
    return "not refused"


# An export


def test_a_flock_of_sixty_with_ten_years_is_far_below(tmp_path):
    tables = read_folder(write_big_flock(tmp_path / "big"))
    assert sum(map(len, tables.rows.values())) * 5 < limits.MOST_ROWS
    assert len(tables["birds.csv"]) * 50 < limits.MOST_BIRDS


def test_hundreds_of_thousands_of_birds(tmp_path):
    text = "bird,band,breed,weight_class,hatched,joined,left,left_reason\n"
    path = packed(tmp_path, birds=text + "".join(f"b{n}\n" for n in range(290_000)))
    assert refusal(path) == "birds.csv, line 5002: There are more than 5,000 birds."


def test_rows_are_counted_over_all_the_files(tmp_path, monkeypatch):
    monkeypatch.setattr("flockcare.exchange.reading.MOST_ROWS", 5)
    weights = [
        {"bird": "Dill", "date": f"2024-01-{day:02}", "grams": "2000"} for day in range(1, 6)
    ]
    read_folder(write_folder(tmp_path / "fits", birds=[BIRD], weights=weights[:4]))
    path = write_folder(tmp_path / "more", birds=[BIRD], weights=weights)
    assert refusal(path) == (
        "weights.csv, line 6: There are more than 5 rows in all the files together."
    )


def test_empty_lines_count_as_rows(tmp_path):
    path = packed(tmp_path, weights="bird,date,grams\n" + "\n" * (limits.MOST_ROWS + 1))
    assert "more than 200,000 rows" in refusal(path)


@pytest.mark.parametrize("cell", [",", ',"\n"'])
def test_a_row_without_an_end(tmp_path, cell):
    path = packed(tmp_path, weights="bird,date,grams\n" + cell * 5_000_000)
    tables = read_folder(path)
    assert "a row is too long" in str(tables.problems[0])


def test_more_checks_than_a_photo_can_belong_to(cast, tmp_path):
    path = write_folder(
        tmp_path / "many",
        birds=[BIRD],
        checks=[{"bird": "Dill", "date": "2024-01-01", "left_score": "0"}],
        photos=[
            {"file": "photos/1.jpg", "bird": "Dill", "sha256": "0" * 64, "lost": "9 9"}
            | {"check": ";".join(["2024-01-01"] * 200)}
        ],
    )
    with pytest.raises(Refused, match=r"photos\.csv, line 2, check: More than 100 are named"):
        check(read_folder(path), cast.flock)


# What a row costs does not depend on how many there are

MOMENT = "2024-01-01 17:30"
SHAPES = {
    "birds": lambda count: {"birds": [{"bird": f"Hen {number}"} for number in range(count)]},
    "photos of checks at one moment": lambda count: {
        "birds": [BIRD],
        "checks": [{"bird": "Dill", "date": MOMENT[:10], "time": "17:30", "left_score": "0"}]
        * count,
        "photos": [
            {"file": f"photos/{number}.jpg", "bird": "Dill", "foot": "left", "check": MOMENT}
            | {"sha256": f"{number:064x}", "lost": "9 9"}
            for number in range(count)
        ],
    },
    "stays of one bird": lambda count: {
        "birds": [BIRD],
        "housing": [{"house": "Barn"}],
        "stays": [
            {"bird": "Dill", "house": "Barn", "from": day, "to": day}
            for day in (str(date(2020, 1, 1) + timedelta(number)) for number in range(count))
        ],
    },
}


@pytest.mark.parametrize("shape", SHAPES)
def test_four_times_the_rows_take_about_four_times_as_long(cast, tmp_path, shape):
    """By the steps of the interpreter, which are the same in each run: squared they would be 16."""

    def steps(count) -> int:
        tables = read_folder(write_folder(tmp_path / str(count), **SHAPES[shape](count)))
        return counted(lambda: check(tables, Flock(name="New")))

    steps(10)  # what is made once only
    assert steps(1200) / steps(300) < 6


def counted(work) -> int:
    """How many lines of Python, and items of the loops in them, ``work`` goes through."""
    count = 0

    def trace(frame, event, arg):
        nonlocal count
        count += 1
        return trace

    before = sys.gettrace()
    sys.settrace(trace)
    try:
        work()
    finally:
        sys.settrace(before)
    return count


def test_birds_of_one_name_are_told_apart_in_one_go():
    def steps(count) -> int:
        birds = [Bird(name="Dill", left="2024", left_reason="died") for _ in range(count)]
        return counted(lambda: label_birds(birds))

    assert steps(1200) / steps(300) < 6


def test_close_names_are_looked_for_a_few_times_only(cast, tmp_path, monkeypatch):
    looked = []
    monkeypatch.setattr(
        "flockcare.exchange.reader.get_close_matches",
        lambda text, known, n: looked.append(text) or [],
    )
    weights = [{"bird": f"Nobody {n % 60}", "date": "2024-01-01", "grams": "9"} for n in range(150)]
    weights += [{"bird": "n" * 101, "date": "2024-01-01", "grams": "9"}] * 20
    path = write_folder(tmp_path / "names", birds=[BIRD], weights=weights)
    with pytest.raises(Refused):
        check(read_folder(path), Flock(name="New"))
    assert len(looked) == len(set(looked)) == limits.MOST_SOUGHT


# Somebody's own table


@pytest.mark.parametrize("row", [b"<row/>", b'<row><c t="s"/></row>', b'<row r="1048576"/>'])
def test_a_workbook_of_very_many_rows(row):
    many = 1 if b"1048576" in row else 1_900_000
    data = book_with(b"<row/>" + row * many)
    assert len(data) < 250_000
    assert "more than 20,000 rows" in refused_table(data)


def test_nine_megabytes_of_line_breaks():
    assert "more than 20,000 rows" in refused_table(b"a,b\n1,2\n" + b"\n" * 9_000_000)


def test_nine_megabytes_of_commas():
    assert "more than 60 columns" in refused_table(b"a,b\n1,2\n" + b"," * 9_000_000)


def test_long_cells_that_a_workbook_holds_once_and_shows_often():
    with pytest.raises(ValueError, match="too much at once"):
        workbook.rows_that_hold_something([("n" * 9999,) * 60] * 5000)
    text = "\n".join(["n" * 9999] * 1300)
    with pytest.raises(ValueError, match="too much at once"):
        read_text(text)


@pytest.mark.parametrize("table", [[[], [[n, []] for n in range(5001)], []], [["a"] * 61, [], []]])
def test_a_packed_table_of_more_than_is_ever_packed(table):
    import base64
    import json
    import zlib

    text = base64.b64encode(zlib.compress(json.dumps(table).encode())).decode()
    with pytest.raises(ValueError, match="did not arrive whole"):
        Sheet.unpack(text)


def test_a_workbook_that_takes_too_long_is_given_up(monkeypatch):
    """One row of very many cells: none of it comes out before all is read."""
    monkeypatch.setattr(workbook, "WORKBOOK_SECONDS", 0.5)
    assert refused_table(book_with(b"<row>" + b"<c/>" * 6_000_000 + b"</row>")) == (
        workbook.TAKES_TOO_LONG
    )


LIMITED = """
import resource, sys
from flockcare.exchange.spreadsheet import workbook
workbook.{name} = {most}
sys.exit(workbook.main())
"""


@pytest.mark.parametrize(
    ("name", "most", "code"),
    [("WORKBOOK_SECONDS", 1, -24), ("WORKBOOK_MEMORY", 500 * limits.MB, 3)],
)
def test_its_reader_ends_with_its_time_and_its_memory(name, most, code):
    """24: SIGXCPU, "CPU time limit exceeded" (signal(7))."""
    data = book_with(b"<row>" + b"<c/>" * 6_000_000 + b"</row>")
    done = subprocess.run(
        [sys.executable, "-c", LIMITED.format(name=name, most=most)],
        input=data,
        capture_output=True,
        check=False,
        timeout=60,
    )
    assert done.returncode == code, done.stderr[-500:]


@pytest.mark.parametrize("code", [-24, 3])
def test_what_its_end_is_called(monkeypatch, code):
    ended = subprocess.CompletedProcess([], code, b"", b"")
    monkeypatch.setattr(workbook.subprocess, "run", lambda *args, **more: ended)
    assert refused_table(book_with(b"<row/>")) == workbook.TAKES_TOO_LONG


def test_the_limits_are_those_of_the_reader_alone():
    before = [resource.getrlimit(what) for what in (resource.RLIMIT_CPU, resource.RLIMIT_AS)]
    start = time.process_time()
    assert "more than 20,000 rows" in refused_table(book_with(b"<row/>" * 1_900_000))
    assert [
        resource.getrlimit(what) for what in (resource.RLIMIT_CPU, resource.RLIMIT_AS)
    ] == before
    # Unpacking and packing anew is all that is left to do here.
    children = resource.getrusage(resource.RUSAGE_CHILDREN)
    assert time.process_time() - start < children.ru_utime + children.ru_stime
