"""The lift's ONNX file against the same arithmetic written out in numpy."""

from __future__ import annotations

import numpy as np
import pytest

from models.registry import load_learned
from models.training.lift.joined_file import joined_file
from models.training.lift.network_file import LARGEST, lift_file
from models.training.lift.reopened import reopened
from models.training.lift.shape import DILATIONS, EPSILON, FARTHEST, POOLED
from workers.engine.lift_input import WIDTH
from workers.engine.lift_layout import ANSWERS, JOINT_LOG_SD, LOG_SD, MEAN, RELATIVE
from workers.learned import load
from workers.learned.network import lift_network

Weights = dict[str, np.ndarray]
CHANNELS = 12


def random_weights(seed: int = 5) -> Weights:
    rng = np.random.default_rng(seed)
    given: Weights = {"mean": rng.normal(size=WIDTH), "scale": rng.uniform(0.5, 2.0, WIDTH)}

    def layer(name: str, out: int, inside: int, taps: int = 1) -> None:
        given[f"{name}.weight"] = rng.normal(size=(out, inside, taps)) / np.sqrt(inside * taps)
        given[f"{name}.bias"] = rng.normal(size=out) * 0.1

    layer("stem", CHANNELS, WIDTH)
    for i in range(len(DILATIONS)):
        given[f"blocks.{i}.normal.gain"] = rng.uniform(0.5, 1.5, CHANNELS)
        layer(f"blocks.{i}.wide", CHANNELS, CHANNELS, 3)
        layer(f"blocks.{i}.mix", CHANNELS, CHANNELS)
    for i in range(len(POOLED)):
        layer(f"pools.{i}", CHANNELS, CHANNELS)
    given["normal.gain"] = rng.uniform(0.5, 1.5, CHANNELS)
    layer("hidden", CHANNELS, CHANNELS)
    layer("last", ANSWERS, CHANNELS)
    return given


def rounded(weight: np.ndarray) -> np.ndarray:
    scale = np.abs(weight).max((1, 2), keepdims=True) / LARGEST
    return np.asarray(np.round(weight / scale) * scale)


def written_out(read: np.ndarray, given: Weights) -> np.ndarray:
    """The network in plain sums, time first."""

    def silu(x: np.ndarray) -> np.ndarray:
        return np.asarray(x / (1.0 + np.exp(-x)))

    def convolved(name: str, x: np.ndarray, dilation: int = 1) -> np.ndarray:
        weight = rounded(given[f"{name}.weight"])
        taps = weight.shape[2]
        total = np.tile(given[f"{name}.bias"], (len(x), 1))
        for k in range(taps):
            shift = (k - taps // 2) * dilation
            for t in range(len(x)):
                if 0 <= t + shift < len(x):
                    total[t] += weight[:, :, k] @ x[t + shift]
        return total

    def normal(name: str, x: np.ndarray) -> np.ndarray:
        x = x - x.mean(1, keepdims=True)
        size = np.sqrt((x**2).mean(1, keepdims=True) + EPSILON)
        return np.asarray(x / size * given[f"{name}.gain"])

    x = np.clip((read - given["mean"]) / given["scale"], -FARTHEST, FARTHEST)
    x = convolved("stem", x)
    for i, dilation in enumerate(DILATIONS):
        inner = convolved(f"blocks.{i}.wide", silu(normal(f"blocks.{i}.normal", x)), dilation)
        x = x + convolved(f"blocks.{i}.mix", silu(inner))
        if i in POOLED:
            x = x + convolved(f"pools.{POOLED.index(i)}", silu(x.mean(0, keepdims=True)))
    return convolved("last", silu(convolved("hidden", silu(normal("normal", x)))))


@pytest.mark.parametrize("frames", [9, 40])
def test_the_file_says_the_same_as_plain_sums(frames: int) -> None:
    given = random_weights()
    read = np.random.default_rng(1).normal(size=(frames, WIDTH)) * 2.0
    answer = lift_network(lift_file(given))(read)
    assert answer.dtype == np.float64
    np.testing.assert_allclose(answer, written_out(read, given), rtol=0, atol=2e-5)


def test_inputs_are_held_far_out() -> None:
    given = random_weights()
    run = lift_network(lift_file(given))
    far, farther = (given["mean"] + k * given["scale"] for k in (2.0 * FARTHEST, 9.0 * FARTHEST))
    np.testing.assert_array_equal(run(np.tile(far, (9, 1))), run(np.tile(farther, (9, 1))))


def test_equal_weights_give_equal_files() -> None:
    assert lift_file(random_weights()) == lift_file(random_weights())
    assert lift_file(random_weights()) != lift_file(random_weights(6))


def test_joined_lifts_answer_as_an_equal_mixture() -> None:
    files = [lift_file(random_weights()), lift_file(random_weights(6))]
    read = np.random.default_rng(2).normal(size=(20, WIDTH))
    one, two = (lift_network(data)(read) for data in files)
    both = lift_network(joined_file(files))(read)
    of = [slice(0, JOINT_LOG_SD.start), MEAN, slice(LOG_SD.stop, ANSWERS)]
    for part in of:
        np.testing.assert_allclose(both[:, part], (one + two)[:, part] / 2.0, rtol=0, atol=1e-5)
    for said, mean in ((JOINT_LOG_SD, RELATIVE), (LOG_SD, MEAN)):
        within = (np.exp(2.0 * one[:, said]) + np.exp(2.0 * two[:, said])) / 2.0
        between = (one[:, mean] - two[:, mean]) ** 2 / 4.0
        np.testing.assert_allclose(np.exp(2.0 * both[:, said]), within + between, rtol=1e-4)


def test_weights_come_back_from_a_file_as_they_were_rounded() -> None:
    given = [random_weights(), random_weights(6)]
    back = reopened(joined_file([lift_file(one) for one in given]))
    assert [set(one) for one in back] == [set(one) for one in given]
    for wanted, found in zip(given, back, strict=True):
        for name, part in wanted.items():
            exact = rounded(part) if name.endswith(".weight") else part
            np.testing.assert_allclose(found[name], exact, rtol=0, atol=1e-6)
    assert lift_file(back[0]) == lift_file(reopened(lift_file(back[0]))[0])


def test_the_shipped_lift_answers_every_column() -> None:
    answer = load().learned.lift(np.zeros((30, WIDTH)))
    assert answer.shape == (30, ANSWERS)
    assert np.isfinite(answer).all()
    assert len(load_learned("lift")) < 3 * 2**20
