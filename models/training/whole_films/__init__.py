"""Whole films with ball, racket and sound, analysed as the product analyses them.

``plan``        which films: two sets that share no seed, every rate and camera place in each
``make``        films them
``analysed``    what the product finds in one, its joints and sightings kept for the next time
``errors``      events against the truth
``page``        the report
``__main__``    the command
"""
