"""Films as files: what is in them beside pictures and sound, and how it is taken out."""
