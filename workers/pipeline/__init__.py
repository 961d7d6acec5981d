"""From a film to its results: the stages, their order, progress, and the files they give."""
