"""How far off the engine's event times are, on movements whose events are known exactly.

``dense``     movements sampled finely, with their ball and events
``seen``      the same as a film would show it: a camera, a frame rate, noise, a ball that is missed
``__main__``  the table that the engine reads
"""
