"""Practice rules: the shipped file, and the reader of a coach's own."""
