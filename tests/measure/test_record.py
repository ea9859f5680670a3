"""Measured values go into the rig file beside the old ones."""

import shutil
from pathlib import Path

import pytest

from macrolib.measure import Estimate, record
from macrolib.rig import read_rig

BENCH = Path(__file__).resolve().parents[2] / "notebooks" / "data" / "rigs" / "bench-screw.toml"
FOUND = {"transmission.travel_per_turn": Estimate(0.00200130078, 4.123e-7), "stand.natural_frequency": Estimate(29.40042, 0.0071),
         "room.temperature": Estimate(294.712, 0.2)}


@pytest.fixture
def path(tmp_path):
    return Path(shutil.copy(BENCH, tmp_path / "rig.toml"))


def test_values_stand_beside_the_old_ones(path):
    rig, before = record(path, FOUND, "2030-01-31"), BENCH.read_text()
    assert path.read_text().startswith(before)  # remarks included
    assert rig == read_rig(path) and rig.stand.natural_frequency == 31.0 and rig.as_used.stand.natural_frequency == 29.40042
    kept = dict(rig.measured)["transmission.travel_per_turn"]
    assert (kept.value, kept.standard_uncertainty) == pytest.approx((0.0020013008, 4.12e-7), abs=1e-12) and kept.date == "2030-01-31"
    assert 'value = "2.0013008 mm"\nstandard_uncertainty = "0.000412 mm"\ndate = "2030-01-31"' in path.read_text()
    assert 'value = "21.562 degC"\nstandard_uncertainty = "0.2 K"' in path.read_text()


def test_measured_again(path):
    record(path, FOUND, "2030-01-31")
    path.write_text(path.read_text() + "# after the new feet [1]\n")
    rig = record(path, {"stand.natural_frequency": Estimate(33.1, 0.02), "stand.damping_ratio": Estimate(0.03, 0.0)}, "2031-02-01")
    text = path.read_text()
    assert text.count("[measured.stand.natural_frequency]") == 1 and "29.40" not in text and "# after the new feet [1]" in text
    assert dict(rig.measured)["stand.natural_frequency"].date == "2031-02-01" and len(rig.measured) == 4
    assert dict(rig.measured)["stand.damping_ratio"].standard_uncertainty == 0.0


def test_tables_in_one_line_are_written_anew(path):
    line = 'stand.damping_ratio = {value = 0.03, standard_uncertainty = 0.001, date = "2030-01-01"}'
    path.write_text(f"{path.read_text()}[measured]\n{line}\n")
    rig = record(path, {"stand.damping_ratio": Estimate(0.05, 0.001)}, "2031-02-01")
    assert rig.as_used.stand.damping_ratio == 0.05 and read_rig(path) == rig


def test_another_file(path, tmp_path):
    before = path.read_text()
    rig = record(path, FOUND, "2030-01-31", target=tmp_path / "mine.toml")
    assert path.read_text() == before and read_rig(tmp_path / "mine.toml") == rig
    with pytest.raises(FileExistsError):
        record(path, FOUND, "2030-01-31", target=tmp_path / "mine.toml")


@pytest.mark.parametrize("values, date, said", [
    ({"stand.colour": Estimate(1, 1)}, "2030-01-31", "no value of a rig"), ({"speed": Estimate(1, 1)}, "2030-01-31", "no value of a rig"),
    ({"motor.full_steps_per_turn": Estimate(200, 1)}, "2030-01-31", "no value of a rig"),
    ({"stand.damping_ratio": Estimate(3, 1)}, "2030-01-31", "found 3.0"),
    ({"stand.damping_ratio": Estimate(0.1, float("nan"))}, "2030-01-31", "nan"),
    ({"stand.damping_ratio": Estimate(float("nan"), 0.1)}, "2030-01-31", "nan"),
    ({"stand.damping_ratio": Estimate(0.1, 0.1)}, "31.1.2030", "date"),
])
def test_what_does_not_fit_is_refused_and_nothing_written(path, values, date, said):
    with pytest.raises(ValueError, match=said) as problem:
        record(path, values, date)
    assert path.read_text() == BENCH.read_text() and str(path) in str(problem.value)
