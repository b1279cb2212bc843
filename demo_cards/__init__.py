"""One invented job, with what makes it."""
