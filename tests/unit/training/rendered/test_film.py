"""The filmed part; needs the `training` extra and is skipped without it."""

from __future__ import annotations

import dataclasses

import av
import numpy as np
import pytest

pytest.importorskip("anny")
pytest.importorskip("numba")

from models.training.rendered import truth_formulas
from models.training.rendered.body_mesh import (
    bone_transforms,
    make_body_mesh,
    sample_phenotype,
    skin,
    surface_joints,
    volume_centre,
)
from models.training.rendered.camera import CameraSpec
from models.training.rendered.clips import ClipSpec
from models.training.rendered.film import film_clip
from models.training.rendered.knobs import ServeKnobs
from models.training.rendered.performance import perform
from models.training.rendered.raster import Canvas

pytestmark = pytest.mark.filterwarnings("ignore")


@pytest.fixture(scope="module")
def mesh():
    return make_body_mesh(sample_phenotype(np.random.default_rng(1)))


@pytest.fixture(scope="module")
def serve(mesh):
    return perform("serve", mesh.skeleton, ServeKnobs())


def test_skin_follows_the_skeleton(mesh, serve):
    knots = serve.repetitions[0].knots
    body = serve.motion.body(np.array([knots[k] for k in ("set_up", "load", "contact")]))
    transforms = bone_transforms(mesh, body)
    names = {"shoulder": (5, 0.06), "elbow": (7, 0.05), "wrist": (9, 0.03), "hip": (11, 0.09)}
    names |= {"knee": (13, 0.06), "ankle": (15, 0.05)}
    for i in range(3):
        seen = surface_joints(mesh, skin(mesh, transforms[i]))
        for name, (at, near) in names.items():
            for side, offset in (("L", 0), ("R", 1)):
                gap = np.linalg.norm(seen[at + offset] - body.points[f"{side}_{name}"][i])
                assert gap < near, (name, side, i)


def test_feet_stand_on_the_floor(mesh, serve):
    body = serve.motion.body(np.array([0.0]))
    lowest = skin(mesh, bone_transforms(mesh, body)[0])[:, 2].min()
    assert lowest == pytest.approx(0.0, abs=0.01)


def test_centroid_of_the_volume_agrees_with_the_segment_table(mesh, serve):
    # The mesh has one density, the table lighter lungs; they agree to about 2 cm.
    body = serve.motion.body(np.array([serve.repetitions[0].knots["load"]]))
    centre = volume_centre(skin(mesh, bone_transforms(mesh, body)[0]), mesh.faces)
    ends = truth_formulas.segment_ends(body.points)
    table = truth_formulas.centre_of_mass(ends, mesh.skeleton.gender)[0]
    assert np.linalg.norm(centre - table) < 0.04


def test_nearer_triangles_hide_farther_ones():
    canvas = Canvas(0, 0, 8, 8)
    square = np.array([[0.0, 0.0], [8.0, 0.0], [8.0, 8.0], [0.0, 8.0]])
    faces = np.array([[0, 1, 2], [0, 2, 3]], np.int32)
    for depth, grey in ((2.0, 0.8), (3.0, 0.2)):
        colour = np.full((2, 3), grey, np.float32)
        canvas.draw(square, np.full(4, depth), faces, np.ones(4), colour)
    assert canvas.resolve()[4, 4] == pytest.approx([0.8, 0.8, 0.8, 1.0])


def test_a_film_and_its_truth_are_the_same_every_time(tmp_path):
    knobs = ServeKnobs(tempo=0.6)
    what = ClipSpec("000", "serve", 5, knobs, CameraSpec(), fps=10.0, size=(160, 120), shutter=0.02)
    what = dataclasses.replace(what, people=2, occlusion="net", background="indoor")
    truths = [
        film_clip(what, np.random.default_rng(3), tmp_path / name) for name in ("a.mp4", "b.mp4")
    ]
    assert (tmp_path / "a.mp4").read_bytes() == (tmp_path / "b.mp4").read_bytes()
    assert truths[0] == truths[1]
    with av.open(str(tmp_path / "a.mp4")) as container:
        frames = [f.to_ndarray(format="rgb24") for f in container.decode(video=0)]
    assert len(frames) == truths[0]["n_frames"] == len(truths[0]["coco17_surface2d"])
    # the body is where the truth says: its middle differs from the empty place it leaves later
    u, v = (int(x) for x in truths[0]["joints2d"][0][truths[0]["joint_names"].index("mid_hip")])
    change = np.abs(frames[0].astype(int) - frames[-1])[v - 3 : v + 3, u - 3 : u + 3].mean()
    assert change > 10
    assert "rear_load_share_mesh_volume" in truths[0]["serves"][0]["metrics"]["trophy"]
