"""Two cameras on one movement, drawn: what several views of one serve are measured on."""
