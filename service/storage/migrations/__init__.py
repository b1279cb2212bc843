"""Migrations of the schema, from the first one on.

To make one: change the records (or ``service.storage.tables``), then run
``python -m service.storage.migrations.make NUMBER "what it does"``, read what it wrote, and set
``HEAD`` here. It is written by comparing the tables with what the migrations so far make.
"""

HEAD = "0003"
"""The revision this program needs; a test holds it against the last of the versions."""
