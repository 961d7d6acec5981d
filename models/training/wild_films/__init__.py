"""Films gone wrong as films do, made from rendered ones, and what the product says of each.

``faults``    what is done to a film, and which findings tell it
``rewrite``   reads a film, writes another
``__main__``  the command
"""
