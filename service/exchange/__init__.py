"""Readings in and records out: the files other programs write and read."""
