"""The formulas of the metrics: one small pure function each, under the key of its definition.

Each module but ``registry`` and ``spec`` holds the ``FORMULAS`` of a family. Everything else that
is said of a metric stands in ``models.contract.metrics``.
"""
