"""Several films of one serve: their clocks, where their cameras stood, and one body from all."""
