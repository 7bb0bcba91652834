"""CSV tables that grow: exact numbers, whole lines, damage told.

Source of the number rule: the shortest decimal that reads back to the same IEEE 754 double, which
is what ``repr`` of a float is documented to give. Quoting: RFC 4180.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fesplice.contracts import FolderFault, Outcome
from fesplice.store.table import Table, line, read_table


@given(st.floats(allow_nan=False))
def test_a_float_reads_back_to_the_same_bits(value: float):
    (text,) = next(csv.reader([line([np.float64(value)]).decode()]))
    assert math.copysign(1, float(text)) == math.copysign(1, value)
    assert float(text) == value


@given(st.lists(st.text(), min_size=2, max_size=4))
def test_a_row_is_one_line_whatever_the_text(texts: list[str]):
    try:
        raw = line(texts)
    except UnicodeEncodeError:
        # A lone surrogate has no UTF-8 form at all: refused, not mangled.
        assert any("\ud800" <= c <= "\udfff" for t in texts for c in t)
        return
    assert raw.count(b"\n") == 1
    assert raw.endswith(b"\n")
    assert next(csv.reader([raw.decode()[:-1]])) == [told(" ".join(t.replace("\0", " ").split())) for t in texts]


def told(text: str) -> str:
    """A cell that a spreadsheet would take for a formula is marked as text."""
    return f"'{text}" if text[:1] in ("=", "+", "-", "@") else text


def test_forms_of_values():
    row = [1, np.int32(2), 0.1, np.float32(0.5), 1e-300, True, None, Outcome.converged, "a, b", float("inf")]
    assert line(row) == b'1,2,0.1,0.5,1e-300,1,,converged,"a, b",inf\n'
    with pytest.raises(TypeError):
        line([[1, 2]])


def grown(path: Path, rows: int) -> bytes:
    """A table of ``rows`` rows, and its bytes."""
    table = Table(path)
    for k in range(rows):
        table.size = table.append({"step": k, "load_N": 1.5 * k, "outcome": "converged"}, sync=False)
    table.close()
    return path.read_bytes()


def test_columns_come_back_with_their_types(tmp_path: Path):
    grown(tmp_path / "t.csv", 3)
    table = read_table(tmp_path / "t.csv")
    assert list(table) == ["step", "load_N", "outcome"]
    assert table["step"].dtype == np.int64
    np.testing.assert_array_equal(table["load_N"], [0, 1.5, 3])
    assert table["outcome"].tolist() == ["converged"] * 3


def test_a_file_cut_anywhere_gives_its_whole_rows(tmp_path: Path):
    path = tmp_path / "t.csv"
    data = grown(path, 3)
    for length in range(len(data) + 1):
        path.write_bytes(data[:length])
        table = read_table(path)
        rows = max(data[:length].count(b"\n") - 1, 0)
        assert table == {} if not data[:length].count(b"\n") else len(table["step"]) == rows


def test_a_tail_of_zeros_is_passed_over(tmp_path: Path):
    # What some file systems leave behind after a power cut.
    path = tmp_path / "t.csv"
    path.write_bytes(grown(path, 2) + b"\0" * 40)
    assert len(read_table(path)["step"]) == 2


@pytest.mark.parametrize("damage", [b"1,2\n", b"\xff\xfe,1,2\n", b'"open,1,2\n'])
def test_damage_inside_is_told_in_one_line(tmp_path: Path, damage: bytes):
    path = tmp_path / "t.csv"
    path.write_bytes(grown(path, 2) + damage + b"3,4.5,converged\n")
    with pytest.raises(FolderFault, match=r"t\.csv: is damaged") as fault:
        read_table(path)
    assert "\n" not in str(fault.value)


def test_nothing_read_as_not_a_number(tmp_path: Path):
    (tmp_path / "t.csv").write_text("a,b\n1.0,\n,x\n")
    table = read_table(tmp_path / "t.csv")
    np.testing.assert_array_equal(table["a"], [1.0, np.nan])
    assert table["b"].tolist() == ["", "x"]


def test_bytes_that_do_not_count_are_overwritten(tmp_path: Path):
    path = tmp_path / "t.csv"
    data = grown(path, 2)
    path.write_bytes(data + b"9,9.9,much longer than the row that follows\n7,")
    table = Table(path)
    table.size = len(data)
    table.append({"step": 2, "load_N": 3.0, "outcome": "converged"}, sync=True)
    table.close()
    assert path.read_bytes() == data + b"2,3.0,converged\n"


def test_rows_are_kept_up_to_the_first_unwanted(tmp_path: Path):
    path = tmp_path / "t.csv"
    data = grown(path, 5)
    path.write_bytes(data + b"4,5.")
    table = Table(path)
    table.keep_while(lambda row: int(row["step"]) <= 2)
    table.close()
    assert path.read_bytes() == b"".join(data.splitlines(keepends=True)[:4])


def test_columns_are_settled_by_the_first_row(tmp_path: Path):
    table = Table(tmp_path / "t.csv")
    table.size = table.append({"a": 1, "b": 2}, sync=False)
    table.size = table.append({"b": 4, "a": 3}, sync=False)
    with pytest.raises(ValueError, match="b, c"):
        table.append({"a": 1, "c": 2}, sync=False)
    table.close()
    assert (tmp_path / "t.csv").read_bytes() == b"a,b\n1,2\n3,4\n"
