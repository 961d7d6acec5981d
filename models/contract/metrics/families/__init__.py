"""Definitions of the metrics, a module a family; a module that holds ``DEFINITIONS`` takes part."""
