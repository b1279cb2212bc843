"""The service over HTTP: a JSON API for programs, pages for people, one table of who may what."""
