"""What people do with the record: one verb per function, storage behind ports."""
