"""The estimate changes by readings and notes alone, always the same, is wide at first, and learns."""

import pickle
from dataclasses import fields, is_dataclass, replace

import numpy as np
import pytest
from box_days import FLOCK, SPEC, BoxDays, Follower, flat

from coldbrood.brooder import bank as banks
from coldbrood.brooder.bank import Array, Bank, Drive3
from coldbrood.brooder.estimate import (
    Drive,
    Estimate,
    forecast,
    learned,
    note_refill,
    now_box,
    observe,
    start,
)
from coldbrood.brooder.hold import Hold, hold
from coldbrood.brooder.paths import Paths
from coldbrood.brooder.specs import OutdoorCurve
from coldbrood.brooder.sureness import sureness
from coldbrood.brooder.thermal import priors

HOUR_S = 3600.0
DRIVE = Drive(5.0, 0.4, FLOCK)


def plain(value: object) -> object:
    """All of a record as plain values, arrays as their bytes."""
    if isinstance(value, np.ndarray):
        return value.shape, value.tobytes()
    if is_dataclass(value):
        return [(f.name, plain(getattr(value, f.name))) for f in fields(value)]
    return [plain(v) for v in value] if isinstance(value, tuple) else value


def readings(n: int, seed: int = 4, every_s: float = 60.0) -> list[tuple[float, float]]:
    rng = np.random.default_rng(seed)
    t_s = np.cumsum(every_s * rng.uniform(0.3, 1.7, n))
    box_c = 24.0 - 4.0 * t_s / t_s[-1] + 0.1 * rng.normal(size=n)
    return list(zip(t_s.tolist(), box_c.tolist(), strict=True))


def fed(est: Estimate, taken: list[tuple[float, float]]) -> Estimate:
    for t_s, box_c in taken:
        est, _ = observe(est, SPEC, t_s, box_c, DRIVE)
    return est


def width_h(est: Estimate, t_s: float) -> float:
    """Width of the forecast, as the spread of the box 3 h ahead in K."""
    paths = forecast(est, SPEC, t_s, flat(5.0, 0.5, t_s), FLOCK, 3 * HOUR_S)
    centre = paths.weights @ paths.box_c[:, -1]
    return float(np.sqrt(paths.weights @ (paths.sd_c[:, -1] ** 2 + (paths.box_c[:, -1] - centre) ** 2)))


def held(paths: Paths, floor_c: float) -> Hold:
    return hold(paths, np.full(len(paths.t_s), floor_c), 0.1)


def test_the_same_readings_give_the_same_estimate_byte_for_byte() -> None:
    once, again = (fed(start(SPEC, FLOCK, 7), readings(300)) for _ in range(2))
    assert plain(once) == plain(again)
    other = fed(start(SPEC, FLOCK, 8), readings(300))
    assert plain(once) != plain(other)


@pytest.mark.parametrize("cut", [1, 40, 137, 299])
def test_from_a_snapshot_on_it_is_the_undisturbed_one(cut: int) -> None:
    taken = readings(300)
    whole = note_refill(fed(start(SPEC, FLOCK, 7), taken), SPEC, taken[-1][0], None)
    half: Estimate = pickle.loads(pickle.dumps(fed(start(SPEC, FLOCK, 7), taken[:cut])))
    assert plain(note_refill(fed(half, taken[cut:]), SPEC, taken[-1][0], None)) == plain(whole)


def test_asking_changes_nothing() -> None:
    est = fed(start(SPEC, FLOCK, 7), readings(200))
    before = plain(est)
    for ahead_s in (0.0, 60.0, 7200.0):
        forecast(est, SPEC, 12000.0 + ahead_s, flat(5.0), FLOCK)
        now_box(est, SPEC, 12000.0 + ahead_s, DRIVE)
        sureness(est, 12000.0 + ahead_s)
        learned(est, SPEC)
    assert plain(est) == before


def test_what_is_kept_of_a_question_is_not_touched_by_the_next() -> None:
    """The bank run through the tail is kept: a copy of the estimate, asked once, answers the same."""
    est = note_refill(fed(start(SPEC, FLOCK, 7), readings(200)), SPEC, 12000.0, 75.0)
    at_s = 12060.0
    now_box(est, SPEC, at_s + 7200.0, DRIVE)
    forecast(est, SPEC, at_s, flat(5.0), FLOCK, refills=((at_s + 1800.0, 60.0),))
    learned(est, SPEC)
    again = forecast(est, SPEC, at_s, flat(5.0), FLOCK)
    once = forecast(replace(est), SPEC, at_s, flat(5.0), FLOCK)
    assert np.array_equal(again.box_c, once.box_c)
    assert np.array_equal(again.sd_c, once.sd_c)
    assert now_box(est, SPEC, at_s, DRIVE) == now_box(replace(est), SPEC, at_s, DRIVE)


def test_the_snapshot_stays_small() -> None:
    est = fed(start(SPEC, FLOCK, 7), readings(500, every_s=10.0))
    assert len(pickle.dumps(est)) < 35_000  # 256 samples x 15 numbers, and half an hour of readings


def test_an_older_reading_changes_nothing() -> None:
    est = fed(start(SPEC, FLOCK, 7), readings(30))
    assert observe(est, SPEC, 10.0, 30.0, DRIVE) == (est, None)


@pytest.mark.parametrize(
    ("t_s", "box_c", "outdoor_c", "field"),
    [
        (float("nan"), 20.0, 5.0, "t_s"),
        (0.0, float("inf"), 5.0, "box_c"),
        (0.0, 20.0, float("nan"), "outdoor_c"),
    ],
)
def test_what_is_no_number_is_named(t_s: float, box_c: float, outdoor_c: float, field: str) -> None:
    with pytest.raises(ValueError, match=rf"^{field}: "):
        observe(start(SPEC, FLOCK, 1), SPEC, t_s, box_c, Drive(outdoor_c, 0.5, FLOCK))


def test_it_does_not_know_at_first_nor_after_silence() -> None:
    est = start(SPEC, FLOCK, 7)
    assert sureness(est, 0.0) == "unknown"
    est = fed(est, readings(60))
    assert sureness(est, 3600.0) == "unknown"
    est = fed(est, [(t + 3700.0, c) for t, c in readings(120)])
    last = est.last_s or 0.0
    assert sureness(est, last) == "learning"
    assert sureness(est, last + 3 * HOUR_S) == "unknown"


def test_it_knows_after_a_day_with_two_refills() -> None:
    est = replace(fed(start(SPEC, FLOCK, 7), readings(100, every_s=900.0)), refills=2)
    assert sureness(est, est.last_s or 0.0) == "known"
    assert sureness(replace(est, refills=1), est.last_s or 0.0) == "learning"


def test_silence_widens_the_range() -> None:
    est = fed(start(SPEC, FLOCK, 7), readings(240))
    last = est.last_s or 0.0
    sds = [now_box(est, SPEC, last + h * HOUR_S, DRIVE)[1] for h in (0.0, 0.5, 1.0, 2.0, 4.0)]
    assert sds == sorted(sds)
    assert sds[-1] > 3.0 * sds[0]


def test_an_outdoor_that_is_not_known_widens_the_range() -> None:
    est = fed(start(SPEC, FLOCK, 7), readings(240))
    t_s = est.last_s or 0.0
    sure, unsure = (held(forecast(est, SPEC, t_s, flat(5.0, sd_c, t_s), FLOCK), 17.0) for sd_c in (0.3, 6.0))
    assert sure.early_s is not None
    assert unsure.early_s is not None
    assert unsure.early_s < sure.early_s


def test_without_a_reading_it_is_wide_and_still_answers() -> None:
    paths = forecast(start(SPEC, FLOCK, 7), SPEC, 500.0, flat(5.0), FLOCK)
    assert paths.t_s[0] == 500.0
    assert np.isfinite(paths.box_c).all()
    assert now_box(start(SPEC, FLOCK, 7), SPEC, 500.0, DRIVE)[1] > 4.0


def test_readings_narrow_what_the_box_on_paper_leaves_open() -> None:
    few, many = readings(240)[:5], readings(240)
    assert width_h(fed(start(SPEC, FLOCK, 7), many), many[-1][0]) < 0.6 * width_h(
        fed(start(SPEC, FLOCK, 7), few), few[-1][0]
    )


@pytest.mark.parametrize("every_s", [10.0, 60.0, 900.0])
def test_the_box_now_is_the_box_read(every_s: float) -> None:
    taken = readings(round(6 * HOUR_S / every_s), every_s=every_s)
    est = fed(start(SPEC, FLOCK, 7), taken)
    mean_c, sd_c = now_box(est, SPEC, taken[-1][0], DRIVE)
    assert mean_c == pytest.approx(taken[-1][1], abs=0.5)
    assert 0.02 < sd_c < 0.6


def test_after_hours_of_silence_a_warm_box_means_a_hot_jug() -> None:
    est = fed(start(SPEC, FLOCK, 7), readings(240))
    last = est.last_s or 0.0
    warm, spent = (
        learned(fed(est, [(last + 5 * HOUR_S + 300.0 * i, box_c - 0.02 * i) for i in range(24)]), SPEC)
        for box_c in (26.0, 13.0)
    )
    assert warm["jug_c"] > spent["jug_c"] + 15.0


def test_a_noted_refill_counts_from_its_time_on() -> None:
    est = fed(start(SPEC, FLOCK, 7), readings(240))
    last = est.last_s or 0.0
    noted = note_refill(est, SPEC, last + 60.0, 80.0)
    soon, _ = now_box(noted, SPEC, last + 1.5 * HOUR_S, DRIVE)
    without, _ = now_box(est, SPEC, last + 1.5 * HOUR_S, DRIVE)
    assert soon > without + 2.0


def test_a_refill_ahead_lifts_the_paths_after_it_only() -> None:
    est = fed(start(SPEC, FLOCK, 7), readings(240))
    t_s = est.last_s or 0.0
    at_s = t_s + 2.05 * HOUR_S
    plain_paths = forecast(est, SPEC, t_s, flat(5.0, 0.5, t_s), FLOCK)
    filled = forecast(est, SPEC, t_s, flat(5.0, 0.5, t_s), FLOCK, refills=((at_s, 75.0),))
    before = plain_paths.t_s <= at_s
    assert np.abs(filled.box_c - plain_paths.box_c)[:, before].max() < 0.05
    later = np.searchsorted(plain_paths.t_s, at_s + 2 * HOUR_S)
    assert ((filled.box_c - plain_paths.box_c)[:, later] > 0.5).all()


@pytest.mark.parametrize(("horizon_s", "step_s"), [(0.0, 600.0), (3600.0, -1.0)])
def test_a_horizon_that_is_none_is_refused(horizon_s: float, step_s: float) -> None:
    with pytest.raises(ValueError, match=r"^horizon_s, step_s: "):
        forecast(start(SPEC, FLOCK, 7), SPEC, 0.0, flat(5.0), FLOCK, horizon_s, step_s)


def matched(seed: int) -> tuple[Bank, float]:
    """A bank whose every sample has the true parameters."""
    drawn = banks.draw(SPEC, seed)
    bank = replace(drawn, theta=np.repeat(drawn.theta[:, :1], banks.SAMPLES, axis=1))
    return banks.settle(bank, SPEC, 0.0, 20.0), priors(SPEC).jug_j_per_k


def nis_of(seed: int, n: int = 720, sd_c: float = 0.1) -> float:
    """Mean squared innovation of a filter that knows the truth, with white noise, over n readings."""
    bank, jug_j = matched(seed)
    rng = np.random.default_rng(seed)
    c = banks.coefs(bank.theta[:, :1], jug_j, 300.0)
    spread = np.sqrt(bank.cov[[0, 3, 5], 0])
    share = banks.felt_share(bank.theta[:, :1])
    truth: Array = bank.mean[:, :1] + (spread * rng.normal(size=3))[:, None]
    total = 0.0
    for i in range(n):
        apart_k = bank.mean[1, :1] - 5.0
        noise = banks.step_cov(c, np.zeros((6, 1)), banks.unsure_k(0.0, apart_k))[[0, 3, 5], 0]
        truth = banks.step_mean(c, truth, 5.0, 10.0)
        truth = truth + (np.sqrt(noise) * rng.normal(size=3))[:, None]
        bank = banks.advance(bank, jug_j, 300.0 * (i + 1), Drive3(5.0, 0.0, 10.0))
        bank, nis = banks.update(bank, float(banks.felt_c(share, truth)[0] + sd_c * rng.normal()), sd_c**2)
        total += nis
    return total / n


def test_what_is_not_sure_grows_with_how_far_the_box_is_over_outdoor_air() -> None:
    apart_k = np.array([0.0, 10.0, 20.0])
    assert banks.unsure_k(0.0, apart_k) == pytest.approx(banks.STRAY_SHARE * apart_k)
    assert banks.unsure_k(0.4, apart_k)[0] == pytest.approx(0.4)
    bank, jug_j = matched(1)
    bank = replace(bank, cov=np.zeros_like(bank.cov))
    level, far = (banks.advance(bank, jug_j, 3600.0, Drive3(c, 0.0, 0.0)).cov[5] for c in (20.0, -10.0))
    assert (far > 1.5 * level).all()


def test_a_matched_filter_is_as_surprised_as_it_expects() -> None:
    # physics.md check value 17: mean of 720 within 0.8994..1.1059 (chi-square, scipy [C]); one seed in
    # twenty may fall outside.
    inside = [0.8994 <= nis_of(seed) <= 1.1059 for seed in range(20)]
    assert sum(inside) >= 18


def test_readings_close_together_weigh_less() -> None:
    # physics.md section 5: with a memory of ten minutes, readings a minute apart are 4.5 times as noisy.
    assert np.sqrt(banks.reading_var(60.0)) / banks.PROBE_SD_C == pytest.approx(4.5, abs=0.1)
    assert banks.reading_var(3600.0) == pytest.approx(banks.PROBE_SD_C**2, rel=0.01)


def test_a_look_in_longer_bins_sees_what_one_in_short_bins_sees(monkeypatch: pytest.MonkeyPatch) -> None:
    est = fed(start(SPEC, FLOCK, 7), readings(100, every_s=300.0))
    at_s = (est.last_s or 0.0) + 60.0
    mean_c, sd_c = now_box(est, SPEC, at_s, DRIVE)
    wide_k = width_h(est, at_s)
    monkeypatch.setattr("coldbrood.brooder.estimate.LOOK_BIN_S", 300.0)
    est = replace(est)  # another one, of which nothing was asked yet
    short_mean_c, short_sd_c = now_box(est, SPEC, at_s, DRIVE)
    assert mean_c != short_mean_c
    assert mean_c == pytest.approx(short_mean_c, abs=0.1)
    assert sd_c == pytest.approx(short_sd_c, rel=0.15)
    assert wide_k == pytest.approx(width_h(est, at_s), rel=0.05)


def test_a_wild_reading_moves_the_box_little() -> None:
    est = fed(start(SPEC, FLOCK, 7), readings(240))
    last = est.last_s or 0.0
    before, _ = now_box(est, SPEC, last + 400.0, DRIVE)
    wild, _ = observe(est, SPEC, last + 60.0, 60.0, DRIVE)
    after, _ = now_box(wild, SPEC, last + 400.0, DRIVE)
    assert abs(after - before) < 2.0


def crossing_h(box: BoxDays, floor_c: float) -> float:
    """When the truth's probe goes under the floor with nobody coming, up to a day."""
    began = box.t_s
    while box.t_s < began + 86400.0:
        box.step()
        if box.probe_c() < floor_c:
            return (box.t_s - began) / HOUR_S
    return 24.0


def issued(seed: int, after_h: float) -> tuple[float, tuple[float, float, float], float]:
    """One box: a day with refills, then the range of its hold some hours after a fill, and what came."""
    box = BoxDays(seed)
    follower = Follower(box)
    for _ in range(3):
        follower.run(box.t_s + 7 * HOUR_S, every_steps=3)
        box.refill(2)
    follower.run(box.t_s + after_h * HOUR_S, every_steps=3)
    floor_c = box.probe_c() - 3.0
    paths = forecast(follower.est, box.spec, box.t_s, box.curve(), box.flock())
    h = held(paths, floor_c)
    low, mid, high = (
        24.0 if t is None else (t - box.t_s) / HOUR_S for t in (h.early_s, h.median_s, h.late_s)
    )
    return crossing_h(box, floor_c), (low, mid, high), width_of_prior(box, floor_c)


def width_of_prior(box: BoxDays, floor_c: float) -> float:
    """The median hold of an estimate that saw only the last reading."""
    est, _ = observe(
        start(box.spec, box.flock(), 1),
        box.spec,
        box.t_s,
        box.probe_c(),
        Drive(box.outdoor_c(), 0.5, box.flock()),
    )
    h = held(forecast(est, box.spec, box.t_s, box.curve(), box.flock()), floor_c)
    return 24.0 if h.median_s is None else (h.median_s - box.t_s) / HOUR_S


def test_the_range_covers_what_comes_and_beats_the_box_on_paper() -> None:
    # 24 drawn boxes richer than the model, seeds not tuned on. Of 24 a true 80 % range covers 16 to 23
    # with 95 % chance (scipy binom.ppf [C]).
    cases = [issued(seed, after_h) for seed in range(520, 532) for after_h in (1.0, 3.0)]
    covered = sum(low <= true <= high for true, (low, _, high), _ in cases)
    assert covered >= 16
    errors = np.mean([abs(true - mid) for true, (_, mid, _), _ in cases])
    on_paper = np.mean([abs(true - paper) for true, _, paper in cases])
    assert errors < 0.7 * on_paper


def test_a_curve_that_ends_early_is_held() -> None:
    short = OutdoorCurve(np.array([0.0, 600.0]), np.array([5.0, 4.0]), np.array([0.5, 0.6]))
    paths = forecast(fed(start(SPEC, FLOCK, 7), readings(60)), SPEC, 3600.0, short, FLOCK)
    assert np.isfinite(paths.box_c).all()
