"""From metrics to decisions: compare, progress, practice plan. Pure functions on contract types.

- ``statistics``: standard errors, minimal detectable change, Holm's correction, retention score.
- ``scatter``: what all metrics foretell of one metric's scatter between serves.
- ``place``: whether films were made from one camera place.
- ``timewarp``: piecewise-linear registration of two serves at their shared events.
- ``trajectories``: two fitted bodies on one phase axis and one body scale.
- ``compare``: two groups of repetitions -> ``Comparison``.
- ``linked``: which changes go together.
- ``progress``: sessions of one player -> ``Progress``.
- ``plan``: findings -> one focus -> drill progression; drill clip -> advance, repeat, go back.
"""
