"""Decisions on invented players whose truth is known: how often they are wrong, and how often open.

Nobody is filmed: true values are the metrics' own formulas on drawn movements, and what a film
would say of them is drawn with the errors that the engine's calibration states. So the figures
are about the rules and statistics of the decisions, not about films nor the engine.
"""
