"""rig.toml and shot.toml: round trips, faults in words, whole files."""

import dataclasses
import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from macrolib import files, read_rig, read_shot
from macrolib.rig import PARTS, Measured, write_rig
from macrolib.shot import TABLES, write_shot

DATA = Path(__file__).resolve().parents[2] / "notebooks" / "data"
RIGS, SHOTS = sorted((DATA / "rigs").glob("*.toml")), sorted((DATA / "shots").glob("*.toml"))


def _text(path=DATA / "rigs" / "bench-screw.toml"):
    return path.read_text("utf-8")


def _faults(tmp_path, text, read=read_rig):
    path = tmp_path / "file.toml"
    path.write_text(text, "utf-8")
    with pytest.raises(files.FileFault) as caught:
        read(path)
    return caught.value.faults


@pytest.mark.parametrize("path", RIGS, ids=lambda p: p.stem)
def test_rigs_round_trip(path, tmp_path):
    rig = read_rig(path)
    assert read_rig(write_rig(rig, tmp_path / "rig.toml")) == rig


@pytest.mark.parametrize("path", SHOTS, ids=lambda p: p.stem)
def test_shots_round_trip(path, tmp_path):
    shot = read_shot(path)
    assert read_shot(write_shot(shot, tmp_path / "shot.toml")) == shot


def test_demo_values_are_marked_typical():
    for path in RIGS:
        assert all(getattr(read_rig(path), name).basis == "typical of its kind" for name in PARTS)


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.floats(1e-4, 0.09), st.floats(1e-3, 4), st.floats(1, 1e4))
def test_any_number_round_trips(tmp_path, pitch, distance, frequency):
    rig = read_rig(RIGS[0])
    rig = dataclasses.replace(rig, lens=dataclasses.replace(rig.lens, working_distance=distance),
                              stand=dataclasses.replace(rig.stand, natural_frequency=frequency, damping_ratio=pitch))
    again = read_rig(write_rig(rig, tmp_path / "rig.toml", replace=True))
    assert again.lens.working_distance == pytest.approx(distance, rel=3e-16)
    assert again.stand.natural_frequency == pytest.approx(frequency, rel=3e-16)
    assert again.stand.damping_ratio == pitch


def test_all_faults_are_reported_at_once(tmp_path):
    text = _text().replace("[motor]", "[moter]").replace("mass =", "mas =", 1)
    text = text.replace("starts = 1", "starts = 0").replace('"25 um"', '"25 kg"')
    found = "\n".join(_faults(tmp_path, text))
    for part in ('did you mean "motor"', "starts: found 0", "backlash", "25 kg", 'did you mean "mass"', "holding_torque: is missing"):
        assert part in found


@pytest.mark.parametrize("old, new, says", [
    ('pitch = "2 mm"', 'pitch = "2,5 mm"', "2.5 mm"), ('pitch = "2 mm"', "pitch = 2", "text with a unit"),
    ('pitch = "2 mm"', 'pitch = "11 mm"', "smaller than the diameter"), ("friction = 0.18", "", "friction: is missing"),
    ("microsteps = 16", "microsteps = 16.5", "whole number"), ("microsteps = 16", "microsteps = true", "whole number"),
    ("friction = 0.18", "friction = nan", "at least 0"), ("friction = 0.18", "friction = inf", "at most 1"),
    ('kind = "screw"', 'kind = "skrew"', 'did you mean "screw"'), ('holding_torque = "0.42 N m"', 'holding_torque = "0.42 kg"', "N m"),
    ('low_end_stop = "-3 mm"', 'low_end_stop = "3 mm"', "home switch"),
])
def test_a_fault_says_what_is_allowed(tmp_path, old, new, says):
    assert any(says in fault for fault in _faults(tmp_path, _text().replace(old, new, 1)))


@pytest.mark.parametrize("content", [
    b"\xff\xfe\x00", b"name = ", b"a" * 2_000_000, b"[transmission]\nkind = 'screw'\n[transmission]\n", b"x = " + b"[" * 5000 + b"]" * 5000,
    b"name = 5\n", b"transmission = 3\n", b"", b"[measured]\nfoo = 1\n", b"[measured.stand.natural_frequency]\nvalue = '30 Hz'\n",
])
def test_what_is_no_rig_is_refused_in_words(tmp_path, content):
    path = tmp_path / "rig.toml"
    path.write_bytes(content)
    with pytest.raises(files.FileFault, match="rig.toml"):
        read_rig(path)


def test_byte_order_mark_and_windows_lines_are_read(tmp_path):
    path = tmp_path / "rig ü.toml"
    path.write_bytes(b"\xef\xbb\xbf" + _text().replace("\n", "\r\n").encode())
    assert read_rig(path) == read_rig(DATA / "rigs" / "bench-screw.toml")


def test_missing_file_and_folder(tmp_path):
    with pytest.raises(FileNotFoundError, match="there is no such file"):
        read_rig(tmp_path / "none.toml")
    with pytest.raises(files.FileFault, match="folder"):
        read_shot(tmp_path)


def test_shot_needs_one_aperture_and_its_own_table(tmp_path):
    shot = _text(DATA / "shots" / "moss-capsule.toml")
    two = shot.replace('f_number = "auto"', 'f_number = 4.0\nnumerical_aperture = 0.1')
    assert any("exactly one" in f for f in _faults(tmp_path, two, read_shot))
    assert any("stack" in f for f in _faults(tmp_path, shot.replace("[stack]", "[traverse]"), read_shot))
    assert any("axial" in f for f in _faults(tmp_path, shot.replace('kind = "stack"', 'kind = "stack"\ndirection = "sideways"'), read_shot))


def test_existing_files_are_replaced_only_when_asked(tmp_path):
    rig, path = read_rig(RIGS[0]), tmp_path / "rig.toml"
    path.write_text("mine")
    with pytest.raises(FileExistsError):
        write_rig(rig, path)
    assert path.read_text() == "mine"
    write_rig(rig, path, replace=True)
    assert read_rig(path) == rig and os.listdir(tmp_path) == ["rig.toml"]


def test_a_failed_write_leaves_nothing(tmp_path, monkeypatch):
    monkeypatch.setattr(os, "fsync", lambda _: (_ for _ in ()).throw(OSError("disk full")))
    (tmp_path / "rig.toml").write_text("mine")
    with pytest.raises(OSError, match="disk full"):
        write_rig(read_rig(RIGS[0]), tmp_path / "rig.toml", replace=True)
    assert (tmp_path / "rig.toml").read_text() == "mine" and os.listdir(tmp_path) == ["rig.toml"]


def test_measured_values_stand_beside_the_old_ones(tmp_path):
    rig = read_rig(DATA / "rigs" / "bench-screw.toml")
    found = (("transmission.travel_per_turn", Measured(0.0020013, 4e-7, "2030-01-31")),
             ("stand.natural_frequency", Measured(29.5, 0.3, "2030-01-31")), ("room.temperature", Measured(294.65, 0.2, "2030-01-31")))
    rig = read_rig(write_rig(dataclasses.replace(rig, measured=found), tmp_path / "rig.toml"))
    assert rig.measured == found
    assert rig.travel_per_turn == 0.0020013 and rig.transmission.travel_per_turn == 0.002
    assert rig.as_used.stand.natural_frequency == 29.5 and rig.stand.natural_frequency == 31.0


@pytest.mark.parametrize("date", ["2030-02-30", "2030-13-01", "20300131", "2030-W05-4", "soon", 2030])
def test_what_is_no_date_is_refused(date, tmp_path):
    entry = f"\n[measured.stand.natural_frequency]\nvalue = '30 Hz'\nstandard_uncertainty = '0.3 Hz'\ndate = {date!r}\n"
    (fault,) = _faults(tmp_path, _text() + entry)
    assert f"[measured.stand.natural_frequency] date: found '{date}'" in fault and "2030-01-31" in fault


@pytest.mark.parametrize("name, value, spread, says", [
    ("rail.home_switch", "'190 mm'", "'1 mm'", "[rail] with its measured values: the home switch must lie between"),
    ("transmission.pitch", "'11 mm'", "'0.1 mm'", "[transmission] with its measured values: pitch: must be smaller"),
    ("lens.lowest_f_number", "18.0", "0.5", "[lens] with its measured values: lowest_f_number is above"),
])
def test_measured_values_must_fit_the_rest(name, value, spread, says, tmp_path):
    entry = f"\n[measured.{name}]\nvalue = {value}\nstandard_uncertainty = {spread}\ndate = '2030-01-31'\n"
    (fault,) = _faults(tmp_path, _text() + entry)
    assert fault.startswith(says)


def test_a_driver_is_set_within_what_it_offers(tmp_path):
    (fault,) = _faults(tmp_path, _text().replace("most_microsteps = 256", "most_microsteps = 8"))
    assert "microsteps is above most_microsteps" in fault


def test_every_key_is_documented():
    for tables in (PARTS, TABLES):
        table = files.key_table(tables)
        for name, part in tables.items():
            for key, described in files.keys(part).items():
                assert f"| {name} | {key} | {described.meaning} |" in table and len(described.meaning) > 6
