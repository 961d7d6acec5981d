"""From metrics to decisions: compare, progress, practice plan. Pure functions on contract types.

- ``statistics``: standard errors, minimal detectable change, Holm's correction, retention score.
- ``timewarp``: piecewise-linear registration of two serves at their shared events.
- ``trajectories``: two fitted bodies on one phase axis and one body scale.
- ``compare``: two groups of repetitions -> ``Comparison``.
- ``progress``: sessions of one player -> ``Progress``.
- ``plan``: findings -> one focus -> drill progression; drill clip -> advance, repeat, go back.
"""
