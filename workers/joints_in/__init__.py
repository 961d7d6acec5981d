"""Joints from elsewhere: files of other pose systems and of motion capture, for the engine.

The engine itself reads no files; this package is the edge that does.
"""
