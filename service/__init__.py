"""The Keepcard service."""
