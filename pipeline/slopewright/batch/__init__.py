"""Many captures: a job a roof, each on its own, any number at a time, resumable."""
