"""What the metrics are: everything about each but its formula, in one place.

A module of ``families`` holds the definitions of one family; `catalogue` collects them and answers
what is asked of them. The formula of a metric is registered under its key in
``workers.engine.metrics``. Adding a metric touches these two files and no other.
"""
