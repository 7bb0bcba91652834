"""Logs as loggers write them: encodings, delimiters, decimal marks, headers, stamps, restarts, gaps, bad cells.

The dialects are common practice without a source; the kinds of date follow ISO 8601 and the usual national orders.
"""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fesplice.contracts import InputFault
from fesplice.measured.dialect import find_dialect
from fesplice.measured.log import Passed, batches
from fesplice.measured.stamps import DAY, kind_of, seconds, unrolled


def write(path: Path, text: str, encoding: str = "utf-8") -> Path:
    path.write_bytes(text.encode(encoding))
    return path


def read(path: Path, columns: list[str], wanted: set[str] | None = None):
    dialect = find_dialect(path, wanted or set(columns))
    passed = Passed()
    parts = list(batches(path, dialect, (), columns, passed))
    return dialect, {c: np.concatenate([b.values[c] for b in parts]) for c in columns}, passed


ROWS = [(0.0, 3.02, -4.0), (0.5, 3.05, -3.5), (1.0, 12.25, 100.0), (1.5, 25.5, 1200.75)]


@pytest.mark.parametrize("delimiter", [";", "\t", ",", "|", " "])
@pytest.mark.parametrize("comma", [False, True])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
@pytest.mark.parametrize("units", [False, True])
def test_every_dialect_gives_the_same_numbers(tmp_path: Path, delimiter, comma, encoding, units) -> None:
    if delimiter == "," and comma:
        return
    rows = [delimiter.join(f"{v:.2f}" for v in row) for row in ROWS]
    head = [delimiter.join(("time", "load", "sg_1"))] + ([delimiter.join(("s", "kN", "µm/m"))] if units else [])
    body = [r.replace(".", ",") for r in rows] if comma else rows
    text = "\r\n".join(["Prüfstand 3", "operator: none", "", *head, *body, ""])
    path = write(tmp_path / "log.txt", text, encoding)
    dialect, values, passed = read(path, ["load", "sg_1"])
    assert (dialect.delimiter, dialect.decimal) == (delimiter, "," if comma else ".")
    assert dialect.names == ("time", "load", "sg_1") and dialect.preamble == 3
    assert dialect.units == (("s", "kN", "µm/m") if units else ("", "", ""))
    np.testing.assert_allclose(values["load"], [r[1] for r in ROWS])
    np.testing.assert_allclose(values["sg_1"], [r[2] for r in ROWS])
    assert not passed.count


def test_units_beside_the_names_and_the_row_that_the_rig_file_names(tmp_path: Path) -> None:
    text = "n;1;2\nZeit [s];Kraft Nord (kN);DMS 1 [um/m]\nraw;CH01;CH02\n0,0;1,5;2\n0,1;1,6;3\n"
    path = write(tmp_path / "a.csv", text)
    by_name = find_dialect(path, {"Kraft Nord"})
    assert by_name.names == ("Zeit", "Kraft Nord", "DMS 1") and by_name.units == ("s", "kN", "um/m")
    by_channel = find_dialect(path, {"CH01", "CH02"})
    assert by_channel.names == ("raw", "CH01", "CH02")


def test_no_header_and_trailing_delimiters(tmp_path: Path) -> None:
    dialect, values, _ = read(write(tmp_path / "a.csv", "0,1.5,\n1,2.5,\n2,3.5,\n"), ["2"])
    assert dialect.names == ("1", "2", "3")
    np.testing.assert_allclose(values["2"], [1.5, 2.5, 3.5])


def test_words_for_no_reading_and_a_header_that_comes_again(tmp_path: Path) -> None:
    text = "t;a;b\ns;kN;mm\n0;1,0;OVER\n1;;2,5\n\nrestarted by hand\nt;a;b\ns;kN;mm\n0;3,0;9999\n1;4,0;-OVER\n2;5"
    _, values, passed = read(write(tmp_path / "a.csv", text), ["a", "b"])
    np.testing.assert_allclose(values["a"], [1.0, math.nan, 3.0, 4.0])
    np.testing.assert_allclose(values["b"], [math.nan, 2.5, 9999.0, math.nan])
    assert passed.count == {"header repeated": 2, "no readings": 1, "last line half written": 1}
    assert passed.first["last line half written"] == 11


def test_blanks_that_pad_cells(tmp_path: Path) -> None:
    text = "t ,  a ,   b\n" + "".join(f" {k}.0 ,  {k}.5 ,  OVER \n" for k in range(4))
    _, values, passed = read(write(tmp_path / "a.csv", text), ["a", "b"])
    np.testing.assert_allclose(values["a"], [0.5, 1.5, 2.5, 3.5])
    assert np.isnan(values["b"]).all() and not passed.count


def test_a_line_cut_short_in_the_middle_is_told_with_its_line(tmp_path: Path) -> None:
    text = "t,a\n0,1\n1,2\n2\n3,4\n"
    _, values, passed = read(write(tmp_path / "a.csv", text), ["a"])
    np.testing.assert_allclose(values["a"], [1, 2, 4])
    assert passed.first == {"line cut short": 4}


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("t;a\n0;1,5\n1;2,5\n2;x7\n3;4,5\n", "line 4, column 2: a = 'x7': a number with decimal comma"),
        ("t;a\n0;1,5\n1;2,5\n2;3.5\n3;4,5\n", "line 4, column 2: a = '3.5': a number with decimal comma"),
        ("hello\nworld\n", "no line of readings found"),
        ("", "the file is empty"),
    ],
)
def test_what_cannot_be_read_is_told_with_file_line_and_column(tmp_path: Path, text: str, told: str) -> None:
    with pytest.raises(InputFault) as caught:
        read(write(tmp_path / "bad.csv", text), ["a"])
    assert "bad.csv" in str(caught.value) and told in str(caught.value)


def test_a_binary_file_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "x.bin"
    path.write_bytes(b"\x00\x01\x02" * 100)
    with pytest.raises(InputFault, match="binary file"):
        find_dialect(path)


# ------------------------------------------------------------------ stamps
START = datetime(2031, 2, 28, 23, 59, 50)
FORMS = {
    "%Y-%m-%d %H:%M:%S.%f": "moment", "%Y-%m-%dT%H:%M:%S": "moment", "%d.%m.%Y %H:%M:%S,%f": "moment",
    "%m/%d/%Y %I:%M:%S %p": "moment", "%d.%m.%y %H:%M:%S": "moment", "%Y/%m/%d %H:%M:%S": "moment",
    "%H:%M:%S.%f": "clock", "%H:%M:%S": "clock", "%I:%M:%S %p": "clock",
}  # fmt: skip


@pytest.mark.parametrize("form", FORMS)
def test_stamps_of_every_kind_run_on_over_midnight_and_the_end_of_february(form: str) -> None:
    texts = [(START + timedelta(seconds=k)).strftime(form) for k in range(30)]
    found = kind_of(["t"], [texts])
    assert found.kind == FORMS[form]
    t, breaks = unrolled(seconds(found, [pa.array(texts)], "."))
    np.testing.assert_allclose(t - t[0], np.arange(30.0), atol=1e-6)
    assert len(breaks) == (1 if found.kind == "clock" else 0)
    if found.kind == "moment":
        epoch = (START - datetime(1970, 1, 1)).total_seconds()
        assert seconds(found, [pa.array(texts[:1])], ".")[0] == pytest.approx(epoch)


def test_date_and_time_in_two_columns() -> None:
    texts = [START + timedelta(seconds=k) for k in range(30)]
    cells = [[x.strftime("%d.%m.%Y") for x in texts], [x.strftime("%H:%M:%S") for x in texts]]
    found = kind_of(["Datum", "Zeit"], cells)
    clock = seconds(found, [pa.array(c) for c in cells], ",")
    np.testing.assert_allclose(np.diff(clock), 1.0)


def test_day_and_month_that_cannot_be_told_apart() -> None:
    assert not kind_of(["t"], [["03/04/2031 10:00:00"]]).sure
    assert kind_of(["t"], [["03/14/2031 10:00:00"]]).order == "mdy"
    assert kind_of(["t"], [["14/03/2031 10:00:00"]]).order == "dmy"
    assert kind_of(["t"], [["03/04/2031 10:00:00"]], "mdy").order == "mdy"
    with pytest.raises(ValueError, match="neither seconds"):
        kind_of(["t"], [["yesterday"]])


@given(st.integers(1, 60), st.sampled_from([DAY, 65536.0, 3600.0]))
@settings(max_examples=40, deadline=None)
def test_a_clock_that_rolls_over_runs_on(before: int, period: float) -> None:
    true = period - before + np.arange(120.0)
    t, breaks = unrolled(np.mod(true, period))
    np.testing.assert_allclose(t - t[0], true - true[0])
    assert len(breaks) == 1 and "rolled over" in breaks[0].what


def test_a_restart_and_a_pause() -> None:
    clock = np.concatenate([np.arange(0, 100.0, 0.5), np.arange(0, 50.0, 0.5)])
    t, breaks = unrolled(clock)
    assert (np.diff(t) > 0.0).all() and t[-1] == pytest.approx(149.5)
    assert [b.row for b in breaks] == [200] and "start again" in breaks[0].what
    _, breaks = unrolled(np.concatenate([np.arange(0, 10.0, 0.5), 60.0 + np.arange(0, 10.0, 0.5)]))
    assert len(breaks) == 1 and breaks[0].length == pytest.approx(50.5)
