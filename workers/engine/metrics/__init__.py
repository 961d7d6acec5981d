"""The metrics: one small pure function each, with the data that describes it beside it.

A module of this package that defines ``METRICS`` takes part; adding a metric is adding one file.
"""
