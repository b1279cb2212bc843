"""Values and rules of the shop: no files, clock, database or web."""
