"""Running processes: boot, supervision, the RQ worker and what keeps them tidy."""
