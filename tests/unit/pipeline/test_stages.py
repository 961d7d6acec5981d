from __future__ import annotations

import pytest

from models import registry
from models.contract.errors import ModelUnknown
from models.contract.resources import AnalysisOptions
from models.contract.vocabulary import Handedness, View
from service.core.settings import Settings
from workers.jobs.configured import decode_limits, shared_stages
from workers.pipeline import stages
from workers.pipeline.options import engine_request
from workers.pose.choice import SecondNetwork


def test_default_networks_are_shipped() -> None:
    choice = stages.pose_choice(Settings().models, "cpu")
    assert (choice.blazepose, choice.second) == ("blazepose_heavy", "movenet_thunder")


def test_one_network_alone_is_enough() -> None:
    assert stages.pose_choice(("blazepose_full",), "cpu").second is SecondNetwork.NONE


@pytest.mark.parametrize(
    "names",
    [
        ("wonder_net",),
        ("movenet_thunder",),
        ("movenet_thunder", "blazepose_full"),
        ("blazepose_full", "blazepose_heavy"),
        ("blazepose_full", "movenet_thunder", "movenet_thunder"),
    ],
)
def test_other_choices_are_refused_with_the_names_to_use(names: tuple[str, ...]) -> None:
    with pytest.raises(ModelUnknown, match="blazepose_heavy"):
        stages.pose_choice(names, "cpu")


def test_settings_choose_networks_limits_and_pictures() -> None:
    settings = Settings(models=("blazepose_full",), pictures=False, max_clip_duration_s=7)
    built = shared_stages(settings)
    learned = {record.name for record in registry.learned()}
    assert {m.name for m in built.models} == {"blazepose_full", "movenet_multipose"} | learned
    assert built.engine_identity is not None
    assert all(m.licence for m in built.models)
    assert shared_stages(settings) is built
    assert shared_stages(settings, ("blazepose_heavy",)) is not built
    assert decode_limits(settings).duration_s == 7


def test_frames_for_pictures_are_fetched_in_bounded_batches() -> None:
    frame = 3840 * 2160 * 3
    batches = list(stages._batches(tuple(range(50)), frame))
    assert sum(batches, ()) == tuple(range(50))
    assert max(map(len, batches)) * frame <= stages.PICTURE_MEMORY
    assert len(list(stages._batches(tuple(range(7)), 1280 * 720 * 3))) == 1


def test_every_option_reaches_the_engine() -> None:
    options = AnalysisOptions(
        height_m=1.7,
        handedness=Handedness.LEFT,
        view=View.SIDE,
        azimuth_deg=80.0,
        capture_fps=240.0,
    )
    request = engine_request(options, seed=5)
    assert (request.stature_m, request.handedness, request.view) == (1.7, "left", "side")
    assert (request.azimuth_deg, request.capture_fps, request.seed) == (80.0, 240.0, 5)
