"""Logs of any make: read the same, repaired and reported, or refused with the line."""

import math

import numpy as np
import pytest

from macrolib.measure import fit_travel, read_log

TIMES, GIVES = np.arange(12) / 100, np.round(3 + np.sin(np.arange(12)), 3)
COMMA, POINT = ",", "."


def table(between=",", point=POINT, head="t (s){b}x (mm)", end="\n", quote=""):
    rows = [between.join(quote + f"{v:.3f}".replace(".", point) + quote for v in row) for row in zip(TIMES, GIVES)]
    return end.join([head.format(b=between), *rows, ""])


@pytest.fixture
def read(tmp_path):
    """Read a text or bytes as if it were a file."""

    def reader(content, **wanted):
        path = tmp_path / "log.csv"
        path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
        return read_log(path, **wanted)

    return reader


@pytest.mark.parametrize("content, wanted, noted", [
    (table(), {}, ""), (table(";"), {}, ""), (table("\t"), {}, ""), (table(" ", head="t_s{b}x_mm"), {}, ""), (table("|"), {}, ""),
    (table(";", COMMA), {}, "decimal comma"), (table("\t", COMMA), {}, "decimal comma"),
    (table("   ", COMMA, "t_s x_mm"), {}, "decimal comma"),
    (table(",", COMMA, '"t (s)","x (mm)"', quote='"'), {}, "decimal comma"), (table(end="\r\n"), {}, ""), (table(end="\r"), {}, ""),
    (table(head="t [s]{b}x [mm]"), {}, ""), (table(head="t / s{b}x / mm"), {}, ""), (table(head="t in s{b}x in mm"), {}, ""),
    (table(head="t{b}x\ns{b}mm"), {}, ""), (table(head="t{b}x"), {"units": {"t": "s", "x": "mm"}}, ""),
    (table(head="Logger 4{b}serial 12{b}\nstarted today\n\nt (s){b}x (mm)"), {}, "lines before the table left out: 1, 2"),
    (table(head="# t (s){b}x (mm)"), {}, ""), (b"\xef\xbb\xbf" + table().encode(), {}, "utf-8-sig"),
    (table().encode("utf-16"), {}, "utf-16"),
    (table(head="t (sec){b}x (millimetre)"), {"units": {"x": "mm"}}, ""),
    (table(";").replace("\n", ";\n"), {"columns": ["t", "x"]}, ""),
])
def test_all_makes_give_the_same(read, content, wanted, noted):
    found = read(content, **wanted)
    assert found.times == pytest.approx(TIMES) and found["x"] == pytest.approx(GIVES * 1e-3, rel=1e-12) and found.rows == 12
    assert dict(found.units) == {"t": "s", "x": "mm"} and list(found.columns) == ["t", "x"]
    assert (noted in "; ".join(found.notes)) if noted else found.notes == ()


def test_a_table_without_heading(read):
    found = read(table(head="").lstrip(), units={"column 1": "s", "column 2": "um"})
    assert found["column 2"] == pytest.approx(GIVES * 1e-6) and found.times == pytest.approx(TIMES)


def test_units_in_other_spellings(read):
    found = read("Zeit (ms);Weg (µm);Kraft (N);a (m/s²)\n0;1;2;3\n10;2;3;4\n20;3;4;5\n".encode("cp1252"))
    assert found.times.tolist() == [0.0, 0.01, 0.02] and found["Weg"] == pytest.approx([1e-6, 2e-6, 3e-6])
    assert dict(found.units) == {"Zeit": "ms", "Weg": "um", "Kraft": "N", "a": "m/s^2"} and "read as cp1252" in found.notes
    mass = read("load (g),give (um)\n0,0\n100,2\n200,4\n")
    assert mass["load"] == pytest.approx([0, 0.1, 0.2])  # a load in g is a mass, an acceleration is not
    with pytest.raises(KeyError, match="no column has a unit of time"):
        _ = mass.times
    with pytest.raises(KeyError, match="there are: load, give"):
        _ = mass["x"]


def test_dates_and_times_of_day(read):
    day = read("stamp,x (mm)\n2030-01-31T10:00:00.500,1\n2030-01-31T10:00:00.750,2\n2030-01-31T10:00:02.000,3\n")
    assert day.times == pytest.approx([0, 0.25, 1.5], abs=1e-6) and "2030-01-31T10:00:00.500" in day.notes[0]
    clock = read("stamp;x (mm)\n10:59:59.5;1,5\n11:00:00.0;2,5\n11:00:00.5;3,5\n")
    assert clock.times == pytest.approx([0, 0.5, 1.0], abs=1e-6)


def test_columns_of_text_and_wanted_columns(read):
    content = "t (s),x (mm),remark,counts\n0,1,ok,7\n1,2,,8\n2,3,tap,9\n"
    with pytest.raises(ValueError, match="without a unit that is known: counts"):
        read(content)
    found = read(content, columns=["x", "t"])
    assert list(found.columns) == ["t", "x"]
    both = read(content, units={"counts": "1"})
    assert both["counts"].tolist() == [7, 8, 9] and "columns of text left out: remark" in both.notes
    with pytest.raises(ValueError, match="remark is no number"):
        read(content, columns=["t", "remark"])
    twice = read("t (s),x (mm),x (mm)\n0,1,2\n1,2,3\n2,3,4\n")
    assert list(twice.columns) == ["t", "x", "x 3"]


FAULTY = ("t (s),x (mm)\n0.0,1\n0.2,3\n0.1,2\n0.3,4\n0.3,6\n\n# tapped\n0.4,5\n0.5,6\n"
          "9.0,7\nt (s),x (mm)\n9.1,8\n9.2,9\n9.33,9\n9.4,9\n9.5,9\n9.6")


def test_every_repair_is_reported(read):
    found, notes = read(FAULTY), []
    assert found.times == pytest.approx([0, 0.1, 0.2, 0.3, 0.4, 0.5, 9.0, 9.1, 9.2, 9.33, 9.4, 9.5])
    assert found["x"][:6] == pytest.approx([1e-3, 2e-3, 3e-3, 5e-3, 5e-3, 6e-3])
    for said in ("line 18: cut short, left out: '9.6'", "lines within the table that are no rows left out: 8, 12",
                 "blank lines left out: 1",
                 "earlier than the row before: 1, the first in line 4", "time of another: 1, the first in line 6: averaged",
                 "gaps: 1, the longest of 8.5 s before line 11", "uneven sampling"):
        notes += [n for n in found.notes if said in n]
    assert tuple(notes) == tuple(dict.fromkeys(notes)) and set(notes) == set(found.notes)


@pytest.mark.parametrize("content, wanted, said", [
    ("", {}, "is empty"), ("\n \n", {}, "is empty"), ("t (s),x (mm)\n", {}, "no two columns"), ("t (s),x (mm)\n0,1\n", {}, "has 1 row"),
    ("words only\nand more\n", {}, "no two columns"), (b"\x89PNG\r\n\x00\x00", {}, "is no text"),
    ("t (s),x (mm)\n0,1\n1,abc\n2,3\n", {}, "line 3: x is 'abc'"), ("t (s),x (mm)\n0,1\n1,\n2,3\n", {}, "line 3: x is empty"),
    ("t (s),x (mm)\n0,1\n1,nan\n2,3\n", {}, "line 3: x is nan"), ("t (s),x (mm)\n0,1\ninf,2\n2,3\n", {}, "line 3: t is inf"),
    ("t (s),x (mm)\n0,1\n1,2,3\n2,3\n3,4\n", {}, "line 3: has 3 cells, not 2"),
    ("t (s),x (mm)\n0,1\n1\n2,3\n3,4\n", {}, "line 3: has 1 cells"),
    ("t (s);x (mm)\n0;1,5\n1;1.234,5\n2;3,5\n", {}, "line 3: x is '1.234.5'"),
    ("t (s);x (mm)\n0;1.234,5\n1;1.235,5\n", {}, "no two columns"),
    ("t (s),x (mm)\n0,0,1,5\n0,1,1,6\n", {}, "commas stand for decimals and between cells"),
    ("t,x\n0,1\n1,2\n2,3\n", {}, "without a unit that is known: t, x"),
    ("t (s),x (furlong)\n0,1\n1,2\n", {}, "without a unit that is known: x"),
    ("t (s),x\n0,1\n1,2\n", {"units": {"x": "inch"}}, "did you mean 'mm'"),
    ("t (s),x (mm)\n0,1\n1,2\n", {"units": {"y": "mm"}}, "no column 'y'"),
    ("t (s),x (mm)\n0,1\n1,2\n", {"columns": ["t", "speed"]}, "no column 'speed'"), ("t (s),x (mm)\n1,1\n1,2\n1,3\n", {}, "the same time"),
    ("t (s),x (mm)\n" + "".join(f"{k % 20},{k}\n" for k in range(40)), {}, "line 22: the time starts again"),
    ("t (s),acc z (m/s^2)\n" + "".join(f"{k},{1.001 + k % 3 / 1e3}\n" for k in range(20)), {}, "gravity in g"),
    ("t (s),acc z (g)\n" + "".join(f"{k},{9.81 + k % 3 / 1e3}\n" for k in range(20)), {}, "gravity in m/s"),
    ("t (s),ax (m/s^2),ay (m/s^2)\n" + "".join(f"{k},0.6,-0.8\n" for k in range(20)), {}, "gravity in g"),
])
def test_what_cannot_be_repaired_is_refused_with_its_line(read, content, wanted, said):
    with pytest.raises(ValueError, match=said) as problem:
        read(content, **wanted)
    assert "log.csv" in str(problem.value)


def test_the_unit_that_is_given_counts(read):
    content = "t (s),acc z (m/s^2)\n" + "".join(f"{k},{1.001 + k % 3 / 1e3}\n" for k in range(20))
    assert np.median(read(content, units={"acc z": "gn"})["acc z"]) == pytest.approx(9.83, abs=0.01)
    assert np.median(read(content.replace("m/s^2", "g"))["acc z"]) == pytest.approx(9.83, abs=0.01)


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(FileNotFoundError, match="no such file"):
        read_log(tmp_path / "nothing.csv")


def test_a_log_backwards_is_sorted(read):
    rows = table().splitlines()
    found = read("\n".join([rows[0], *reversed(rows[1:])]))
    assert found.times == pytest.approx(TIMES) and "sorted" in found.notes[0]


def test_damaged_files_are_read_or_refused_and_nothing_else(read):
    random, ends = np.random.default_rng(3), {"read": 0, "refused": 0}
    pieces = [*'0123456789.,;:"#\t\n\r -+eEn()[]/_²', "nan", "1e400", '""', "\n\n", ";;", "\0"]
    for k in range(200):
        text = list((table(";", COMMA), FAULTY, table(" ", head="t_s{b}x_mm"), table(",", COMMA, '"t (s)","x (mm)"', quote='"'))[k % 4])
        for place in random.integers(0, len(text), 1 + k % 2).tolist():
            text[place:place + int(random.integers(0, 2))] = str(random.choice(pieces))
        try:
            found = read("".join(text))
            assert all(np.isfinite(x).all() and len(x) == found.rows for x in found.columns.values())
            ends["read"] += 1
        except ValueError:
            ends["refused"] += 1
    assert min(ends.values()) > 20, ends


@pytest.mark.slow
def test_a_million_rows(read):
    random, n = np.random.default_rng(1), 1_000_000
    pulses = np.arange(n)
    places = 0.01002 * pulses + 0.001 * random.standard_normal(n)
    found = read("pulses (pulse);position (mm)\n" + "".join(f"{k};{x:.5f}\n" for k, x in zip(pulses, places)).replace(".", ","))
    fit = fit_travel(found["pulses"], found["position"])
    assert found.rows == n and abs(fit.travel_per_pulse - 1.002e-5) < 4 * fit.travel_per_pulse.standard_uncertainty
    assert math.isclose(fit.residual_deviation, 1e-6, rel_tol=0.01)
