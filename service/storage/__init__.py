"""The record on disk: SQLite or PostgreSQL, a journal of every change, and the photo files."""
