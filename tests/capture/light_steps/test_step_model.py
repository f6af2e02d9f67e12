"""Steps of known place, made by the model's own formula and, apart from it, by blurring a half plane."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.ndimage import gaussian_filter, gaussian_filter1d
from scipy.special import ndtr
from scipy.stats import norm

from digitise.capture.light_steps.step_model import estimate_blur, explained_by_step, fit_steps, step_basis

HALF = 8
S = np.arange(-HALF - 3, HALF + 4)
ONE = np.ones(1)


def encoded(light):
    """Apply the sRGB curve (IEC 61966-2-1), values in [0, 1]."""
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 0) ** (1 / 2.4) - 0.055)


def model_profiles(places, blur, before=(0.2, 0.0), after=(0.6, 0.0)):
    """Profiles (n, m, 1) of the model's formula: a, b before and c, d after the edge."""
    s = S[None, :] - np.asarray(places)[:, None]
    share, spill = ndtr(s / blur), blur * norm.pdf(s / blur)
    (a, b), (c, d) = before, after
    light = (a + b * s) * (1 - share) + (c + d * s) * share + (d - b) * spill
    return light[..., None].astype(np.float32)


def half_plane_rows(blur, slope, levels=(0.1, 0.7), ramps=(0.0, 0.0), fine=9, rows=60):
    """Rows (n, m, 1) across a leaning edge and their true places, from areas on a grid ``fine`` times finer.

    Cells of the fine grid are shared by area; the point spread and the pixels' own area are summed over them.
    """
    margin = 8
    width, height = len(S) + 2 * margin, rows + 2 * margin
    x = (np.arange(width * fine) + 0.5) / fine - 0.5 - margin + S[0]
    y = (np.arange(height * fine) + 0.5) / fine - 0.5 - margin
    away = x[None, :] - slope * (y[:, None] - rows / 2)  # along the row
    share = np.clip(away * fine + 0.5, 0.0, 1.0)
    light = (levels[0] + ramps[0] * away) * (1 - share) + (levels[1] + ramps[1] * away) * share
    light = gaussian_filter(light, blur * fine, mode="nearest")
    pixels = light.reshape(height, fine, width, fine).mean(axis=(1, 3))
    inner = pixels[margin:-margin, margin:-margin]
    return inner[..., None].astype(np.float32), slope * (np.arange(rows) - rows / 2)


def pixel_blur(blur, slope=0.0):
    """Point spread with the pixel's own box (variance 1/12), along a row that crosses the edge aslant."""
    return np.hypot(blur, np.sqrt(1 / 12)) * np.hypot(1.0, slope)


# --------------------------------------------------------------------------------------- place


@settings(max_examples=25, deadline=None)
@given(
    st.floats(-1.3, 1.3),
    st.sampled_from([0.6, 0.9, 1.4, 2.3]),
    st.floats(0.02, 0.4),
    st.floats(0.5, 0.9),
    st.floats(-0.01, 0.01),
    st.floats(-0.01, 0.01),
    st.booleans(),
)
def test_place_of_a_step_of_the_model(place, blur, low, high, b, d, falling):
    levels = ((low, b), (high, d))
    profiles = model_profiles([place], blur, *(levels[::-1] if falling else levels))
    fit = fit_steps(profiles, HALF, blur * ONE, 2.0, ONE)
    # places are tried every 0.1 px and the least squares between them taken as a parabola
    assert fit.position[0] == pytest.approx(place, abs=0.01)
    # each side is read from the mean of its samples beyond 1.5 sd: the slope counts over half the profile at
    # most, and of the step's tail less than the 6.7 % that lie beyond there
    within = 0.05 * (high - low) + HALF * (abs(b) + abs(d))
    assert fit.contrast[0, 0] == pytest.approx(low - high if falling else high - low, abs=within)


@pytest.mark.parametrize("blur", [0.6, 0.9, 1.4, 2.3])
@pytest.mark.parametrize("slope", [0.02, 0.045])
@pytest.mark.parametrize("ramps", [(0.0, 0.0), (0.006, -0.006), (-0.01, 0.0)])
@pytest.mark.parametrize("levels", [(0.1, 0.7), (0.7, 0.5)])
def test_place_of_a_blurred_half_plane(blur, slope, ramps, levels):
    profiles, places = half_plane_rows(blur, slope, levels=levels, ramps=ramps)
    fit = fit_steps(profiles, HALF, pixel_blur(blur, slope) * ONE, 2.0, ONE)
    # a box of a pixel is not quite a Gaussian, and the parabola between places tried not quite a parabola
    assert np.max(np.abs(fit.position - places)) < 0.02


def test_place_from_the_half_resolution_colour_alone():
    # brightness is level, colour differences step: as with skin before an equally bright panel
    places = np.linspace(-1, 1, 9)
    level = np.full((9, len(S), 1), 0.4, np.float32)
    wide = model_profiles(places, 1.6, (0.0, 0.0), (0.2, 0.0))
    profiles = np.concatenate([level, wide, -wide], axis=2)
    profiles += np.random.default_rng(5).normal(0, 1e-3, profiles.shape).astype(np.float32)
    fit = fit_steps(profiles, HALF, np.array([0.9, 1.6, 1.6]), 2.0, np.ones(3))
    # noise of 0.5 % of the contrast in two channels over a step 4 px wide: 0.01 px sd
    assert np.max(np.abs(fit.position - places)) < 0.05


def test_place_never_leaves_its_reach():
    fit = fit_steps(model_profiles([-2.8, 2.8], 0.9), HALF, 0.9 * ONE, 1.5, ONE)
    assert np.all(np.abs(fit.position) <= 1.5 + 1e-9)


# --------------------------------------------------------------------------------------- noise


@pytest.mark.parametrize("blur", [0.75, 1.4])
@pytest.mark.parametrize("noise", [0.004, 0.02])
def test_sd_is_what_the_places_scatter_by(blur, noise, rng):
    places = rng.uniform(-1, 1, 400)
    profiles = model_profiles(places, blur, (0.1, 0.003), (0.5, -0.002))
    profiles += rng.normal(0, noise, profiles.shape).astype(np.float32)
    fit = fit_steps(profiles, HALF, blur * ONE, 2.0, ONE)
    z = (fit.position - places) / fit.sd
    # the rms of 400 standard normals has sd 1 / sqrt(800) = 0.035; the rest is for the noise's own estimate
    # (the median of a chi-square of 12 lies 5 % below its mean) and for curvature read off noisy parabolas
    assert 0.8 < np.sqrt(np.mean(z**2)) < 1.25
    assert abs(np.mean(z)) < 4 / np.sqrt(400)
    assert fit.noise[0] == pytest.approx(noise, rel=0.1)


def test_channels_weigh_by_their_noise(rng):
    places = rng.uniform(-1, 1, 300)
    clear = model_profiles(places, 0.9)
    profiles = np.concatenate([clear, clear], axis=2)
    profiles += rng.normal(0, [0.004, 0.2], profiles.shape).astype(np.float32)
    both = fit_steps(profiles, HALF, np.full(2, 0.9), 2.0, np.ones(2))
    alone = fit_steps(profiles[..., :1], HALF, 0.9 * ONE, 2.0, ONE)
    # fifty times the noise carries 1/2500 of the weight
    assert np.sqrt(np.mean((both.position - places) ** 2)) < 1.05 * np.sqrt(
        np.mean((alone.position - places) ** 2)
    )


def test_a_noise_factor_widens_the_sd():
    profiles = model_profiles(np.linspace(-1, 1, 50), 0.9)
    profiles += np.random.default_rng(2).normal(0, 0.01, profiles.shape).astype(np.float32)
    one, two = (fit_steps(profiles, HALF, 0.9 * ONE, 2.0, f * ONE) for f in (1.0, 2.0))
    np.testing.assert_allclose(two.sd / one.sd, 2.0, rtol=0.01)


def test_gain_tells_a_step_from_a_slope(rng):
    noise, blur, s = 0.01, 0.9, np.arange(-HALF, HALF + 1)
    gains = []
    for contrast in (0.0, 0.1):
        light = model_profiles(np.zeros(400), blur, (0.3, 0.01), (0.3 + contrast, 0.01))
        noisy = (light + rng.normal(0, noise, light.shape)).astype(np.float32)
        gains.append(fit_steps(noisy, HALF, blur * ONE, 1.5, ONE).gain)
    # under a slope the gain is the greatest of a few chi-squares of 2: one in a hundred is above 9 or so
    assert np.quantile(gains[0], 0.99) < 20.0
    # under a step it is a chi-square with what a line leaves of the step as its non-centrality
    step = ndtr(s / blur)
    left = np.sum((step - np.polyval(np.polyfit(s, step, 1), s)) ** 2) * (0.1 / noise) ** 2
    assert np.median(gains[1]) == pytest.approx(left, rel=0.15)


# --------------------------------------------------------------------------------------- tone curve


@pytest.mark.parametrize(("blur", "low", "high"), [(0.75, 0.02, 0.85), (1.0, 0.03, 0.85), (1.2, 0.05, 0.8)])
def test_stored_values_move_a_strong_edge_to_the_dark_side(blur, low, high):
    places = np.linspace(-0.5, 0.5, 11)
    light = model_profiles(places, blur, (low, 0.0), (high, 0.0))
    in_light = fit_steps(light, HALF, blur * ONE, 2.0, ONE)
    assert np.max(np.abs(in_light.position - places)) < 0.01
    stored = encoded(light).astype(np.float32)
    moved = places - fit_steps(stored, HALF, blur * ONE, 2.0, ONE).position
    # equal grey lies where the blurred share is (v - low) / (high - low), v the light of the mean of the two
    # stored values: 0.5 to 0.6 sd of the blur towards the dark side; measured on photographs 0.4 to 0.9 px
    assert np.all((moved > 0.35) & (moved < 0.95))


def test_stored_values_hardly_move_a_weak_edge():
    light = model_profiles([0.0], 0.9, (0.40, 0.0), (0.45, 0.0))
    stored = encoded(light).astype(np.float32)
    assert abs(fit_steps(stored, HALF, 0.9 * ONE, 2.0, ONE).position[0]) < 0.05


# --------------------------------------------------------------------------------------- blur

CANDIDATES = (0.6, 0.75, 0.9, 1.1, 1.4, 1.8, 2.3, 3.0)


@pytest.mark.parametrize("blur", CANDIDATES)
def test_the_true_blur_is_chosen(blur, rng):
    profiles = model_profiles(rng.uniform(-1.5, 1.5, 120), blur, (0.1, 0.002), (0.5, -0.002))
    profiles += rng.normal(0, 0.003, profiles.shape).astype(np.float32)
    assert estimate_blur(profiles[..., 0], HALF, CANDIDATES, 0.05) == blur


@pytest.mark.parametrize(("blur", "nearest"), [(0.85, 0.9), (1.37, 1.4), (2.28, 2.3)])
def test_the_blur_of_a_half_plane_includes_the_pixel(blur, nearest):
    profiles, _ = half_plane_rows(blur, 0.03)
    assert estimate_blur(profiles[..., 0], HALF, CANDIDATES, 0.05) == nearest


def test_weak_steps_say_nothing_of_the_blur(rng):
    weak = model_profiles(rng.uniform(-1, 1, 100), 1.4, (0.4, 0.0), (0.41, 0.0))
    assert estimate_blur(weak[..., 0], HALF, CANDIDATES, 0.05) is None
    few = model_profiles(rng.uniform(-1, 1, 10), 1.4)
    assert estimate_blur(few[..., 0], HALF, CANDIDATES, 0.05) is None


def test_flat_profiles_among_clear_ones_do_not_decide(rng):
    clear = model_profiles(rng.uniform(-1, 1, 60), 1.8)
    flat = np.full((140, len(S), 1), 0.4)
    profiles = np.concatenate([clear, flat]) + rng.normal(0, 0.003, (200, len(S), 1))
    assert estimate_blur(profiles[..., 0].astype(np.float32), HALF, CANDIDATES, 0.05) == 1.8


# --------------------------------------------------------------------------------------- search


def long_profile(place, blur, noise, rng, width=121):
    s = np.arange(width) - place
    light = 0.3 + 0.001 * s + 0.2 * ndtr(s / blur)
    return (light + rng.normal(0, noise, width))[None, :, None].astype(np.float32)


@pytest.mark.parametrize("half", [6, 11])
@pytest.mark.parametrize("place", [25.0, 60.3, 98.6])
def test_a_step_is_best_explained_where_it_is(half, place, rng):
    share = explained_by_step(long_profile(place, 0.85, 0.004, rng), half, 0.85, np.array([0.01]))
    assert share.shape == (1, 121)
    assert np.all((share >= 0) & (share <= 1))
    assert not share[0, :half].any()
    assert not share[0, -half:].any()
    assert abs(int(np.argmax(share[0])) - place) <= 1.0
    assert share.max() > 0.8


def test_noise_explains_little(rng):
    flat = rng.normal(0.3, 0.004, (40, 121, 1)).astype(np.float32)
    # a step takes 2 of 13 samples' variation on average, and twice the noise counts for nothing on top
    assert explained_by_step(flat, 6, 0.85, np.array([0.008])).mean() < 2 / 13


@given(st.floats(-1.5, 1.5), st.floats(0.5, 3.0))
@settings(max_examples=25)
def test_the_basis_is_the_formula(shift, blur):
    basis = step_basis(HALF, shift, blur)
    s = np.arange(-HALF, HALF + 1) - shift
    sharp = np.where(s < 0, 0.0, 1.0)
    np.testing.assert_allclose(basis[:, 0] + basis[:, 2], 1.0, atol=1e-12)
    np.testing.assert_allclose(basis[:, 1] + basis[:, 3], s, atol=1e-9)
    far = np.abs(s) > 5 * blur
    np.testing.assert_allclose(basis[far, 2], sharp[far], atol=1e-6)


def test_the_basis_is_two_slopes_blurred():
    fine, margin = 32, 6
    s = np.arange(-(HALF + margin) * fine, (HALF + margin) * fine + 1) / fine
    after = np.where(s < 0, 0.0, np.where(s > 0, 1.0, 0.5))
    sharp = np.stack([1 - after, s * (1 - after), after, s * after], axis=1)
    by_sum = gaussian_filter1d(sharp, 1.1 * fine, axis=0)[margin * fine : -margin * fine : fine]
    np.testing.assert_allclose(step_basis(HALF, 0.0, 1.1), by_sum, atol=5e-4)
