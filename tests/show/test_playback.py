"""A preview as strip, files and player: what is written is what was computed, and nothing is replaced or played unasked."""

import dataclasses
import io
import re
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from macrolib import plan, read_rig, read_shot
from macrolib.planning.preview import MOST_FLASHES, Preview, flashes
from macrolib.show import playback

DATA = Path(__file__).resolve().parents[2] / "notebooks" / "data"
SHOT, RIG = read_shot(DATA / "shots" / "wing-case.toml"), read_rig(DATA / "rigs" / "field-belt.toml")
KEYS = {"speed": 0.94e-3, "acceleration": 1.7e-3}


def of(**keys):
    return plan(dataclasses.replace(SHOT, traverse=dataclasses.replace(SHOT.traverse, **KEYS | keys)), RIG, mends=False)


SMALL = {"seconds": 1.0, "size": (24, 64)}
SEEN = Preview(of(), start=2.0, **SMALL)


def _frames(content):
    """(grey frames, pauses in ms, how often it plays) of an animated picture."""
    with Image.open(io.BytesIO(content)) as picture:
        grey, pauses = [], []
        for number in range(picture.n_frames):
            picture.seek(number)
            grey.append(np.asarray(picture.convert("L")))
            pauses.append(picture.info["duration"])
        return np.array(grey), np.array(pauses), picture.info.get("loop", "once"), picture.info


@pytest.mark.parametrize("kind", ["png", "gif"])
def test_the_film_holds_the_frames_at_their_pace_and_plays_once(kind):
    grey, pauses, loop, about = _frames(playback.film(SEEN, kind))
    assert (grey == playback.pictures(SEEN)).all()
    assert loop == {"png": 1, "gif": "once"}[kind]
    late = np.cumsum(pauses) - np.arange(1, 25) * 1e3 / 24
    assert np.abs(late).max() <= {"png": 0.5, "gif": 5}[kind] + 1e-9, "rounded so that the whole keeps its time"
    text = about["Description"] if kind == "png" else about["comment"].decode()
    assert "wing-case" in text and "field-belt" in text and "macrolib" in text and "flash" in text


@pytest.mark.parametrize(("keys", "more"), [({}, {}), ({"speed": 5e-3}, {"shrink": 1.0}), ({"frame_rate": 60.0}, {"shrink": 2.0})])
def test_what_is_saved_does_not_flash_more_than_three_times_a_second(keys, more):
    seen = Preview(of(**keys), start=1.0, **SMALL, **more)
    grey, pauses, *_ = _frames(playback.film(seen))
    coded = grey / 255
    light = np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)  # IEC 61966-2-1, backwards
    assert light == pytest.approx(seen.shown, abs=5e-3)
    assert flashes(light, 1e3 / pauses.mean()) <= MOST_FLASHES
    assert ("Contrast is reduced" in playback.words(seen)) == (seen.flashes > MOST_FLASHES)


def test_a_gif_is_too_coarse_for_60_frames():
    with pytest.raises(ValueError, match="up to 50 frames"):
        playback.film(Preview(of(frame_rate=60.0), **SMALL), "gif")
    with pytest.raises(ValueError, match="png, or a gif"):
        playback.film(SEEN, "avi")


def test_files_go_into_the_named_folder_and_replace_nothing_unasked(tmp_path):
    made = playback.save(SEEN, tmp_path, stills=3)
    names = ["wing-case-preview.png", *(f"wing-case-frame-{n:04d}.png" for n in (1, 13, 24))]
    assert [p.name for p in made] == names
    assert sorted(tmp_path.iterdir()) == sorted(made)
    assert (np.asarray(Image.open(made[2])) == playback.pictures(SEEN)[12]).all()
    made[0].unlink()
    before = {p: p.stat().st_mtime_ns for p in tmp_path.iterdir()}
    with pytest.raises(FileExistsError, match="frame-0001.png.* only when asked"):
        playback.save(SEEN, tmp_path, stills=3)
    assert {p: p.stat().st_mtime_ns for p in tmp_path.iterdir()} == before, "nothing is written when a file is in the way"
    assert playback.save(SEEN, tmp_path, stills=3, replace=True) == made
    assert len(playback.save(SEEN, tmp_path / "more", kind="gif", stills=0)) == 1


def test_the_strip_shows_frames_speeds_and_places():
    picture = playback.strip(SEEN, 3)
    top, low, *frames = picture.figure.axes
    assert len(frames) == 3 and (frames[1].images[0].get_array() == playback.pictures(SEEN)[12]).all()
    assert top.lines[0].get_ydata() == pytest.approx(SEEN.image_speeds)
    places = SEEN.plan.schedule["position"][1][48:72]
    assert low.lines[0].get_ydata() == pytest.approx(places * 1e3)
    assert re.search(r"24 frames at 24 fps, 2 s to 2.96 s of the take: .* 12\.\d to 1\d(\.\d)? px.*3 are allowed", picture.alt)
    back = playback.strip(Preview(of(start_mark=84e-3, end_mark=60e-3), **SMALL), 3)
    assert np.diff(back.figure.axes[1].lines[0].get_ydata()).max() <= 0


def test_the_player_makes_its_film_when_asked_and_not_before(monkeypatch):
    player = playback.Player(SEEN)
    assert player.film == b"" and (np.asarray(Image.open(io.BytesIO(player.still))) == playback.pictures(SEEN)[0]).all()
    player._on_message(player, {"what": "look"}, [])
    assert player.film == b""
    player._on_message(player, {"what": "play"}, [])
    assert player.film == playback.film(SEEN)
    monkeypatch.setattr(playback, "film", None)
    player._on_message(player, {"what": "play"}, [])  # the second time it is there


def test_what_a_stored_page_shows():
    first, second = (playback.Player(SEEN)._repr_mimebundle_()[0] for _ in range(2))
    assert first["text/plain"] == second["text/plain"] == playback.strip(SEEN).alt
    assert "image/png;base64" in first["text/html"] and "only when its button is pressed" in first["text/html"]
    assert not re.search("autoplay|<video|image/gif", first["text/html"])
