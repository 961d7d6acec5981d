"""Documents made from finished analyses: comparison, progress, practice plan, drill check.

Each module turns `Source` objects into result files, the same for the service and the command line.
"""
