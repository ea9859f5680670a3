"""The table of benchmarks tells a kept limit from a missed one, and a script that breaks off from one that ran."""

import json

import pytest

from tests.benchmarks import table


@pytest.mark.parametrize(("figure", "least", "kept"), [(1.0, False, True), (2.1, False, False), (2.1, True, True), (1.9, True, False),
                                                       (float("nan"), False, False), (float("nan"), True, False)])
def test_a_row_says_whether_the_limit_is_kept(figure, least, kept, monkeypatch, tmp_path, capsys):
    monkeypatch.setenv(table._FILE, str(tmp_path / "rows"))
    assert table.row("a thing", figure, 2, "s", least=least) is kept
    assert capsys.readouterr().out.rstrip().endswith("met" if kept else "missed")
    assert json.loads((tmp_path / "rows").read_text())["verdict"] == ("met" if kept else "missed")


def test_all_scripts_run_in_turn_and_what_breaks_is_named(monkeypatch, tmp_path, capfd):
    (tmp_path / "bench_a.py").write_text("from tests.benchmarks.table import row\nrow('speed', 3, 5, 's')")
    (tmp_path / "bench_b.py").write_text("raise SystemExit(3)")
    monkeypatch.setattr(table, "__file__", str(tmp_path / "table.py"))
    assert table.main(out=tmp_path) == 1
    shown = capfd.readouterr().out
    assert "1 of 1 limits met" in shown and "bench_b.py broke off" in shown
    found = json.loads((tmp_path / "bench.json").read_text())
    assert found["broken"] == ["bench_b.py"] and found["rows"][0]["figure"] == 3
