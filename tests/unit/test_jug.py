"""Promise: a towel, water asked for cooler, a fill that nobody saw: each is held possible, then forgotten."""

import math
from dataclasses import replace

import numpy as np
import pytest
from box_days import FLOCK, SPEC

from coldbrood.brooder import bank as banks
from coldbrood.brooder import jug
from coldbrood.brooder.bank import TOWEL, Array, Bank, Drive3
from coldbrood.brooder.carry import modern
from coldbrood.brooder.estimate import Drive, Estimate
from coldbrood.brooder.intake import absorb
from coldbrood.brooder.thermal import priors

DRIVE = Drive(5.0, 0.4, FLOCK)


def settled(box_c: float = 22.0) -> Bank:
    return banks.settle(banks.draw(SPEC, 3), SPEC, 0.0, box_c)


def usual_log(bank: Bank) -> Array:
    return np.asarray(banks.as_usual(bank.theta)[0])


def test_what_is_learned_of_the_jug_outlives_a_towel() -> None:
    """Fill after fill one sample in six has the towel the other way; the usual exchange stays what it was."""
    paper = priors(SPEC)
    ratio = math.log(paper.k_jug_other_w_per_k / paper.k_jug_w_per_k)
    bank = settled()
    learned = usual_log(bank)
    for _ in range(8):
        bank = jug.refilled(bank, SPEC, None)
        other = np.abs(bank.theta[TOWEL]) > banks.AS_USUAL_LOG
        assert 0.12 < float(other.mean()) < 0.18
    assert usual_log(bank) == pytest.approx(learned)
    assert float(bank.theta[TOWEL][other].mean()) == pytest.approx(ratio, abs=0.15)
    assert float(bank.theta[TOWEL][~other].std()) == pytest.approx(banks.FILL_LOG_SD, rel=0.2)


def test_water_asked_for_cooler_is_taken_for_it_by_three_in_four() -> None:
    usual, asked = (
        jug.refilled(settled(), SPEC, None).mean[0],
        jug.refilled(settled(), SPEC, None, 50.0).mean[0],
    )
    assert set(usual) == {SPEC.fill_c}
    assert set(asked) == {SPEC.fill_c, 50.0}
    assert float(np.mean(asked == 50.0)) == 0.75
    assert set(jug.refilled(settled(), SPEC, 60.0, 50.0).mean[0]) == {60.0}, "what the keeper says goes first"


@pytest.mark.parametrize("chance", [0.6, 0.9, 1.0])
def test_a_refill_in_doubt_is_believed_by_so_many(chance: float) -> None:
    before = settled()
    after = jug.refilled(before, SPEC, None, chance=chance)
    came = after.mean[0] == SPEC.fill_c
    assert float(came.mean()) == pytest.approx(chance, abs=1.0 / banks.SAMPLES)
    assert after.mean[0][~came] == pytest.approx(before.mean[0][~came])
    assert after.theta[:, ~came] == pytest.approx(before.theta[:, ~came]), (
        "whose jug stays, its towel does too"
    )


@pytest.mark.parametrize(("read_c", "wrapped"), [(30.0, 0.5), (35.5, 0.0)])
def test_a_hot_box_found_cooler_may_have_its_jug_in_a_towel(read_c: float, wrapped: float) -> None:
    theta = banks.as_usual(settled().theta)
    bank = replace(settled(36.0), theta=theta)
    rows = np.array([[60.0, read_c, 12.0, 0.3, 15.0, 1.0, 60.0]])
    after, _ = absorb(bank, replace(SPEC, jug_wrapped=False), rows, rows[:0], ())
    assert float((after.theta[TOWEL] < -banks.AS_USUAL_LOG).mean()) == pytest.approx(
        wrapped, abs=0.25 if wrapped else 0.0
    )


def test_a_bank_kept_by_an_older_version_is_taken_up() -> None:
    learned = replace(settled(), log_w=np.linspace(-5.0, 0.0, banks.SAMPLES))
    for rows in (TOWEL, TOWEL + 1):  # before towels were known of, and before the air was
        old = replace(learned, theta=learned.theta[:rows] + 0.5)
        est = modern(Estimate(bank=old, tail=np.zeros((0, 7))), SPEC)
        paper = banks.draw(SPEC, old.seed)
        assert np.array_equal(est.bank.theta, paper.theta), "what it learned of another model is let go"
        assert np.array_equal(est.bank.mean, old.mean)
        assert not est.bank.log_w.any()
    again = jug.refilled(
        banks.advance(est.bank, priors(SPEC).jug_j_per_k, 60.0, Drive3(5.0, 0.4, 10.0)), SPEC, None
    )
    assert again.theta.shape == (6, banks.SAMPLES)
    assert modern(est, SPEC) is est


@pytest.mark.parametrize(("before", "after"), [(0.0, 1 / 12), (1.0, 7 / 12), (1 / 6, 1 / 6)])
def test_half_of_the_fills_have_the_towel_as_the_last_one_had(before: float, after: float) -> None:
    # One in six against habit (own choice) is what it stays at where nothing is learned of it.
    apart = math.log(priors(SPEC).k_jug_other_w_per_k / priors(SPEC).k_jug_w_per_k)
    bank = settled()
    theta = banks.as_usual(bank.theta)
    theta[TOWEL] = np.where(np.arange(banks.SAMPLES) < before * banks.SAMPLES, apart, 0.0)
    theta[0] += theta[TOWEL]
    filled = jug.refilled(replace(bank, theta=theta), SPEC, None)
    other = np.abs(filled.theta[TOWEL]) > banks.AS_USUAL_LOG
    assert other.mean() == pytest.approx(after, abs=0.05)
    assert usual_log(filled) == pytest.approx(usual_log(bank))


def test_on_paper_one_jug_in_six_has_its_towel_against_habit() -> None:
    other = np.abs(banks.draw(SPEC, 7).theta[TOWEL]) > banks.AS_USUAL_LOG
    assert other.mean() == pytest.approx(1 / 6, abs=0.03)
