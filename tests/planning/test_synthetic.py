"""The synthetic stack: frames against an independent sum, bands where and as soft as the criterion says, errors by their bands."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from macrolib import plan, read_rig, read_shot
from macrolib.physics import optics
from macrolib.planning import synthetic
from macrolib.planning.synthetic import SyntheticStack, text_progress

DATA = Path(__file__).resolve().parents[2] / "notebooks" / "data"
VIEW = {"magnification": 3.0, "f_number": 3.4, "pupil_ratio": 1.1}
SHARP = optics.sharp_depth(3.0, 3.4, 1.1, 4.4e-6, 550e-9, 0.8)


def stack(share, gaps=6, **more):
    """A stack with frames a share of the sharp depth apart, over that many gaps."""
    return SyntheticStack(**{**VIEW, "spacing": share * SHARP, "depth": gaps * share * SHARP, "size": (384, 384), **more})


def test_a_frame_is_the_sum_of_its_depths_each_with_its_own_transfer():
    """Against a sum over the relief's own depths, one Fourier transform each, transfer at each frequency: no layers, no rings."""
    trial = SyntheticStack(**VIEW, spacing=20e-6, depth=40e-6, size=(64, 64), noise=0.0)
    heights, texture = synthetic._relief(trial)
    heights = np.round(heights / 2e-6) * 2e-6
    camera = synthetic._Camera(trial)
    spectra = camera.expose(heights.astype(np.float32), texture, lambda share: None)
    down, across = np.fft.fftfreq(64)[:, None], np.fft.rfftfreq(64)[None, :]
    effective = optics.effective_f_number(3.4, 3.0, 1.1)
    q = np.hypot(down, across) / 4.4e-6 / optics.cutoff_frequency(550e-9, effective)
    pixel = np.sinc(down) * np.sinc(across)
    for column, place in enumerate(trial.positions.values()):
        waves = (heights - place) * 9.0 / (8 * 550e-9 * effective**2)
        wanted = sum(np.fft.rfft2((texture - 0.5) * (waves == w)) * optics.defocused_otf(q, w) for w in np.unique(waves))
        wanted = np.fft.irfft2(wanted * pixel, s=(64, 64)) + 0.5
        got = camera._picture(np.ascontiguousarray(spectra[:, column]).view(np.complex64), camera.blur)
        assert np.abs(got - wanted).max() < 0.02 * wanted.std() and (got - wanted).std() < 0.004 * wanted.std()


@pytest.mark.parametrize("share", [0.9, 1.25, 1.5, 2.0, 3.0])
@pytest.mark.parametrize("seed", [1, 2])
def test_the_worst_band_is_as_soft_as_the_edge_transfer_says(share, seed):
    trial = stack(share, size=(512, 512), seed=seed)
    assert 1 - trial.see().worst == pytest.approx(1 - trial.predicted(trial.spacing), rel=0.1)


@pytest.mark.parametrize("share", [1.25, 1.5, 2.0])
def test_too_wide_a_spacing_leaves_a_band_halfway_between_all_frames(share):
    trial = stack(share)
    seen = trial.see()
    assert len(seen.bands) == 6
    for k, (near, far, _) in enumerate(seen.bands):
        assert (near + far) / 2 == pytest.approx((k + 0.5) * trial.spacing, abs=0.08 * trial.spacing)
        # a band is as wide as what lies outside the sharp depths of its two frames
        assert far - near == pytest.approx(trial.spacing - SHARP, abs=0.2 * trial.spacing)


def test_a_spacing_within_the_sharp_depth_leaves_no_band_and_nothing_soft():
    close, good, wide = (stack(share).see() for share in (0.5, 0.9, 2.0))
    assert close.bands == good.bands == ()
    assert close.area > 0.999 and good.area > 0.99 and 0.4 < wide.area < 0.6
    assert close.worst > good.worst > wide.worst


def test_in_focus_nothing_is_lost_and_the_share_follows_the_distance_from_the_frames():
    trial = stack(1.5)
    seen = trial.see()
    places = np.array(list(trial.positions.values()))
    away = np.abs(seen.depths[:, None] - places).min(axis=1)
    expected = np.array([trial.predicted(max(2 * a, 1e-12)) for a in away])
    assert np.sqrt(np.mean((seen.shares - expected)**2)) < 0.03
    assert np.median(seen.shares[away < 0.05 * trial.spacing]) > 0.98


def test_a_missed_frame_leaves_one_band_of_a_gap_of_two():
    trial = stack(0.9, missed=(4,), size=(512, 512))
    seen = trial.see()
    (near, far, share), = seen.bands
    assert trial.widest == pytest.approx(2 * trial.spacing)
    assert (near + far) / 2 == pytest.approx(3 * trial.spacing, rel=0.05)
    assert 1 - share == pytest.approx(1 - trial.predicted(2 * trial.spacing), rel=0.1)


def test_a_missed_first_or_last_frame_is_seen_at_the_end():
    assert stack(0.9, missed=(1,)).widest == pytest.approx(2 * 0.9 * SHARP)
    seen = stack(0.9, missed=(7,)).see()
    assert len(seen.bands) == 1 and seen.bands[0][1] == seen.depths[-1]


def test_position_errors_make_the_widest_gap_the_worst_band():
    trial = stack(0.9, position_error=0.2 * SHARP, size=(512, 512))
    seen, even = trial.see(), stack(0.9).see()
    low, high, share = min(seen.bands, key=lambda band: band[2])
    places = np.sort(list(trial.positions.values()))
    k = np.argmax(np.diff(places))
    assert low < places[k:k + 2].mean() < high
    assert 1 - share == pytest.approx(1 - trial.predicted(trial.widest), rel=0.1)
    assert seen.area < even.area


def test_whole_full_steps_make_the_microstep_error_harmless():
    bad = {"microstep_error": 2.5e-6, "full_step": 10e-6, "depth": 210e-6}
    half, whole = stack(1, spacing=35e-6, **bad), stack(1, spacing=30e-6, **bad)
    gaps = {trial.spacing: np.diff(list(trial.positions.values())) for trial in (half, whole)}
    assert gaps[30e-6] == pytest.approx([30e-6] * 7)
    assert gaps[35e-6] == pytest.approx([30e-6, 40e-6] * 3)
    assert whole.see().bands == ()
    seen, even = half.see(), dataclasses.replace(half, microstep_error=0.0).see()
    assert len(seen.bands) == 3 and seen.worst < even.worst - 0.04


def test_the_merge_has_to_undo_the_change_of_scale():
    far = stack(0.9, gaps=20, focal_length=0.02)
    seen, crooked = far.see(), dataclasses.replace(far, aligned=False).see()
    assert seen.area > 0.98 > 0.6 > crooked.area
    # the scale grows towards the last frame: what is seen there is in its place, at the other end it is not
    assert crooked.shares[-40:].mean() > 0.8 > 0.5 > crooked.shares[:40].mean()


def test_vibration_softens_every_depth_by_its_own_transfer():
    frequency, amplitude = 1 / (4 * 4.4e-6), 3e-6
    seen, still = stack(0.9, vibration=amplitude).see(), stack(0.9).see()
    directions = np.linspace(0, np.pi / 2, 91)
    lost = np.mean([optics.vibration_mtf(frequency * np.cos(a), amplitude, 10.0) for a in directions])
    assert np.mean(seen.shares) / np.mean(still.shares) == pytest.approx(lost, abs=0.03)
    assert seen.area < still.area - 0.2


def test_noise_is_that_of_light():
    quiet, loud = (stack(0.9, gaps=3, size=(128, 128), noise=noise, aligned=False).see() for noise in (0.0, 0.02))
    for number, frame in quiet.frames.items():
        difference = loud.frames[number] - frame
        assert difference.std() == pytest.approx(0.02 * np.sqrt(0.5), rel=0.05)
        bright = frame > np.quantile(frame, 0.9)
        assert difference[bright].std() > difference[frame < np.quantile(frame, 0.1)].std()


def test_the_same_seed_gives_the_same_picture_and_another_one_another():
    first, again, other = (stack(1, gaps=3, size=(96, 96), seed=seed).see() for seed in (3, 3, 4))
    assert np.array_equal(first.merged, again.merged)
    assert not np.allclose(first.merged, other.merged, atol=0.05)
    assert 0 < first.original.min() < first.original.max() < 1
    assert first.heights.min() == 0 and first.heights.max() == pytest.approx(3 * SHARP)


@pytest.mark.parametrize("rig", ["bench-screw", "field-belt"])
def test_from_a_plan(rig):
    made = plan(read_shot(DATA / "shots" / "moss-capsule.toml"), read_rig(DATA / "rigs" / f"{rig}.toml"), mends=False)
    trial = SyntheticStack.of_plan(made, frames=8, size=(192, 192))
    assert len(trial.positions) == 8 and trial.spacing == made["spacing"] and trial.depth == pytest.approx(7 * made["spacing"])
    kept = made.check("sharpness at the frame edges").figure
    assert trial.predicted(trial.spacing) == pytest.approx(kept)
    assert 0 < trial.microstep_error < 0.06 * trial.full_step
    assert trial.see().area > 0.97


def test_a_filmed_move_is_no_stack():
    film = plan(read_shot(DATA / "shots" / "wing-case.toml"), read_rig(DATA / "rigs" / "bench-screw.toml"), mends=False)
    with pytest.raises(ValueError, match="traverse"):
        SyntheticStack.of_plan(film)


@pytest.mark.parametrize("wrong, words", [
    ({"noise": -0.1}, "0 or more"), ({"position_error": np.nan}, "0 or more"), ({"size": (32, 256)}, "64 or more"),
    ({"kept": 1.0}, "between 0 and 1"), ({"full_step": 0.0}, "above 0"), ({"spacing": 1e-8}, "too many"),
    ({"spacing": 0.0}, "spacing"), ({"missed": (9,)}, "frames 1 to 7"), ({"missed": tuple(range(1, 8))}, "must be left"),
    ({"f_number": -1.0}, "f_number"), ({"magnification": np.inf}, "magnification"),
])
def test_what_cannot_be_photographed_is_refused_in_words(wrong, words):
    with pytest.raises(ValueError, match=words):
        dataclasses.replace(stack(1), **wrong).see()


def test_progress_goes_from_little_to_all(capsys):
    told = []
    stack(1, gaps=5, size=(64, 64)).see(told.append)
    assert told == sorted(told) and 0 < told[0] < 0.6 and told[-1] == 1 and len(told) >= 4
    for share in (0.4, 1.0):
        text_progress(share)
    assert capsys.readouterr().out == "\r[########............] 40%\r[####################] 100%\n"


@settings(max_examples=25, deadline=None)
@given(st.floats(1.4, 22), st.floats(0.3, 4), st.integers(1, 6), st.floats(0.5, 10), st.booleans())
def test_any_stack_gives_finite_pictures(f_number, share, gaps, magnification, aligned):
    sharp = optics.sharp_depth(magnification, f_number, 1.0, 4.4e-6, 550e-9, 0.8)
    seen = SyntheticStack(magnification, f_number, share * sharp, gaps * share * sharp, size=(64, 80), aligned=aligned).see()
    for picture in (seen.merged, seen.local, seen.shares, *seen.frames.values()):
        assert np.isfinite(picture).all()
    assert 0 <= seen.area <= 1 and seen.merged.shape == (64, 80)
