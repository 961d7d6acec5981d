"""Training of the learned lift (`workers.serve.lift`). Dev only: needs torch, see the render extra.

1. ``python -m tests.rendered motion --profile motion --seed 303 --count 400 --out MOTIONS``
2. ``python -m tests.rendered films --profile calibration --seed 11 --count 36 --out FILMS`` and
   ``servewright accuracy FILMS --cache TRACKS``
3. ``python -m tests.lift MOTIONS --films FILMS --tracks TRACKS --out FILE`` with FILE =
   ``workers/serve/lift_weights.py``

Every third film (number divisible by three with rest two) is held out: calibrate and check on
those and on films of other seeds only. The weights in the tree were trained on 440 motions
(seeds 101, 202, 303) and 15 films of seed 11.
"""
