"""Photographs from bytes to numbers: decoded, markers found, read in a bounded process."""
