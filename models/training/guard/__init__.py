"""What notices a wrong number: frozen joint tracks, the engine's values on them, and mutations."""
