"""Training of the learned lift (`workers.engine.lift`). Dev only: needs torch, see the training extra.

1. ``python -m models.training.rendered motion --profile motion --seed 303 --count 420 --out MOTIONS``
2. ``python -m models.training.rendered films --profile lift --seed 501 --count 160 --out FILMS`` and
   ``servewright accuracy FILMS --cache TRACKS`` (for its joint tracks)
3. ``python -m models.training.lift MOTIONS --films FILMS --tracks TRACKS --held-out 0
   --out models/weights/lift.onnx``; without ``--held-out 0`` every sixth film is kept back and
   judged

Films are dear and motions are cheap, so the films also teach how the pose networks err
(`network_error`), and the motions are seen through those errors by random cameras. Calibrate and
check on films of other seeds only.
"""
