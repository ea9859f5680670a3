"""Photographs: read or refused; the shift between two is found with the uncertainty that is stated."""

import math

import numpy as np
import pytest
from PIL import Image

from macrolib.measure import read_photograph, shift
from tools.invented_measurements import picture


def test_stated_uncertainties_are_the_scatter_of_150_pairs():
    random, off, stated = np.random.default_rng(1), [], []
    for k in range(150):
        moved = random.uniform(-9, 9, 2)
        pair = (picture((120, 140), seed=k % 12, noise=0.05, noise_seed=2 * k),
                picture((120, 140), -moved, seed=k % 12, noise=0.05, noise_seed=2 * k + 1))
        found = shift(*pair)
        off.append((found.down - moved[0], found.across - moved[1]))
        stated.append((found.down.standard_uncertainty, found.across.standard_uncertainty))
    for axis, scatter, said in zip(("down", "across"), np.std(off, axis=0), np.sqrt(np.mean(np.square(stated), axis=0))):
        print(f"{axis}: stated over scatter {said / scatter:.3f}, scatter {scatter:.4f} px")
        assert said / scatter == pytest.approx(1, abs=0.15)
    assert np.abs(np.mean(off, axis=0)).max() < 4 * np.max(stated) / math.sqrt(150)


def test_shift_is_what_lays_the_second_on_the_first():
    found = shift(picture((96, 128), noise=0), picture((96, 128), (-3.4, 11.7), noise=0))
    assert (found.down, found.across) == pytest.approx((3.4, -11.7), abs=0.005)
    assert found.likeness > 0.99
    whole = picture((200, 300))
    assert shift(whole[20:180, 30:230], whole[25:185, 10:210]).down == pytest.approx(5, abs=1e-6)


@pytest.mark.parametrize("share", [0.2, 0.4, 0.47])
def test_shifts_of_up_to_half_are_found(share):
    scene, n = picture((400, 400), seed=5, noise=0), 200
    far = round(share * n)
    found = shift(scene[:n, :n] + 0.01 * np.random.default_rng(1).standard_normal((n, n)), scene[far:far + n, :n])
    assert (found.down, found.across) == pytest.approx((far, 0), abs=0.1)


def test_brightness_and_uneven_light_do_not_matter():
    first, second = picture((160, 200), noise_seed=1), picture((160, 200), (0.0, 6.3), noise_seed=2)
    light = 0.6 + 0.5 * np.linspace(0, 1, 200)
    found = shift(first, 0.5 * light * second + 0.1)
    assert abs(found.across + 6.3) < 5 * found.across.standard_uncertainty + 0.01 and found.brightness > 1.5


def test_travel_from_the_shift():
    found = shift(picture((96, 128), noise_seed=1), picture((96, 128), (-8.0, -6.0), noise_seed=2))
    travel = found.travel(4.4e-6, 3.0)
    assert travel == pytest.approx(10 * 4.4e-6 / 3, rel=1e-3)
    assert travel.standard_uncertainty == pytest.approx(found.down.standard_uncertainty * 4.4e-6 / 3, rel=0.5)
    unsure = found.travel(4.4e-6, 3.0, 0.03)
    assert unsure.standard_uncertainty == pytest.approx(math.hypot(travel.standard_uncertainty, 0.01 * travel), rel=1e-6)
    same = picture((96, 128))
    assert shift(same, same).travel(4.4e-6, 3.0) == pytest.approx(0, abs=1e-12)


def test_large_photographs_are_taken_from_coarse_to_fine():
    scene = np.tile(picture((400, 440), seed=6, noise=0), (3, 3))  # texture in one corner, light that falls off elsewhere
    light = np.exp(-np.hypot(np.arange(1200)[:, None] - 300, np.arange(1320) - 400) / 300)
    random = np.random.default_rng(7)
    first, second = (light[:1100, :1200] * part + 0.01 * random.standard_normal((1100, 1200))
                     for part in (scene[:1100, :1200], scene[37:1137, 90:1290]))
    found = shift(first, second)
    assert (found.down, found.across) == pytest.approx((37, 90), abs=0.02)


def _stripes(noise_seed, moved):
    waves = 0.5 + 0.3 * np.sin((np.arange(200) - moved) / 3)
    return np.tile(waves, (200, 1)) + 0.01 * np.random.default_rng(noise_seed).standard_normal((200, 200))


NOISE = [0.5 + 0.02 * np.random.default_rng(k).standard_normal((200, 200)) for k in (1, 2)]
FALLS = 0.4 - 0.3 * ((np.arange(200) - 100)[:, None]**2 + (np.arange(200) - 100)**2) / 100**2
SCENE = picture((500, 500), seed=8)


@pytest.mark.parametrize("first, second, said", [
    (SCENE, SCENE[1:], "photographs of one size"), (0 * SCENE, SCENE, "without texture"), (NOISE[0], NOISE[1], "no texture"),
    (NOISE[0] + FALLS, NOISE[1] + FALLS, "no texture"), (_stripes(1, 0), _stripes(2, 2), "stripes"),
    (SCENE[:200, :200], SCENE[110:310, :200], "more than half"), (SCENE[:200, :200], SCENE[:200, 170:370], "more than half"),
    (SCENE[:200, :200], SCENE[300:, 300:], "more than half"), (SCENE[:200, :200], SCENE[150:350, 150:350], "more than half"),
    (SCENE, np.where(SCENE > 0.9, np.nan, SCENE), "no finite numbers"), (SCENE, "photo.png", "not numbers"),
    (SCENE[:20, :20], SCENE[:20, :20], "at least 48"),
    (SCENE, np.array([["a"] * 60] * 60), "not numbers"), ([], [], "shape"), (SCENE[0], SCENE[0], "shape"),
])
def test_bad_pairs_are_refused(first, second, said):
    with pytest.raises(ValueError, match=said):
        shift(first, second)


GREY = np.round(255 * np.clip(picture((90, 120)), 0, 1)).astype(np.uint8)


@pytest.mark.parametrize("name, made, notes", [
    ("a.png", Image.fromarray(GREY), 0), ("a.tif", Image.fromarray(GREY), 0), ("a.png", Image.fromarray(np.dstack([GREY] * 3)), 1),
    ("a.tiff", Image.fromarray(GREY.astype(np.uint16) * 257), 0), ("a.png", Image.fromarray(GREY.astype(np.uint16) * 257), 0),
    ("a.jpg", Image.fromarray(np.dstack([GREY] * 3)), 1), ("a.png", Image.fromarray(np.dstack([GREY] * 4)), 2),
    ("a.png", Image.fromarray(GREY).convert("P"), 2), ("a.jpg", Image.fromarray(np.dstack([GREY] * 3)).convert("CMYK"), 2)])
def test_photographs_are_read(tmp_path, name, made, notes):
    made.save(tmp_path / name, **({"quality": 98} if name.endswith("jpg") else {}))
    found = read_photograph(tmp_path / name)
    assert found.pixels == pytest.approx(GREY / 255, abs=0.03 if name.endswith("jpg") else 0.002)
    assert len(found.notes) == notes and found.name == name


def test_a_camera_that_was_turned(tmp_path):
    made, mark = Image.fromarray(np.dstack([GREY] * 3)), Image.Exif()
    mark[0x0112] = 6
    made.save(tmp_path / "a.jpg", exif=mark, quality=98)
    found = read_photograph(tmp_path / "a.jpg")
    assert found.pixels.shape == (120, 90) and found.pixels == pytest.approx(np.rot90(GREY, -1) / 255, abs=0.03)
    assert any("turned as" in n for n in found.notes)


def test_burnt_out_parts_are_said(tmp_path):
    Image.fromarray(np.where(GREY > 120, 255, GREY).astype(np.uint8)).save(tmp_path / "a.png")
    assert any("white" in n for n in read_photograph(tmp_path / "a.png").notes)


def test_what_is_no_photograph_is_refused(tmp_path):
    Image.fromarray(GREY).save(tmp_path / "whole.png")
    whole = (tmp_path / "whole.png").read_bytes()
    Image.fromarray(GREY).save(tmp_path / "a.gif")
    Image.fromarray(GREY > 99).save(tmp_path / "two.png")
    Image.fromarray(picture((60, 60)).astype(np.float32)).save(tmp_path / "floats.tif")
    for name, content in (("cut.png", whole[:len(whole) // 2]), ("text.png", b"no picture"), ("empty.jpg", b"")):
        (tmp_path / name).write_bytes(content)
    for name in ("cut.png", "text.png", "empty.jpg", "a.gif", "two.png", "floats.tif"):
        with pytest.raises(ValueError, match=name):
            read_photograph(tmp_path / name)
    with pytest.raises(FileNotFoundError, match="no such file"):
        read_photograph(tmp_path / "nothing.png")
    with pytest.raises(ValueError, match="that can be read"):
        read_photograph(tmp_path)


def test_damage_is_said(tmp_path):
    made, mark = Image.fromarray(np.dstack([GREY] * 3)), Image.Exif()
    mark[0x010E] = "a moss"
    made.save(tmp_path / "a.jpg", exif=mark)
    raw = (tmp_path / "a.jpg").read_bytes()
    (tmp_path / "a.jpg").write_bytes(raw.replace(b"a moss", b"a mos\xff").replace(b"II*\0\x08", b"II*\0\xf8"))
    try:
        assert read_photograph(tmp_path / "a.jpg").notes
    except ValueError as problem:
        assert "a.jpg" in str(problem)


def test_a_picture_too_large_for_memory_is_refused(tmp_path):
    Image.fromarray(np.zeros((9500, 9500), np.uint8)).save(tmp_path / "a.png")
    with pytest.raises(ValueError, match="a.png"):
        read_photograph(tmp_path / "a.png")
