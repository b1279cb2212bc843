"""Simulated photographs of a target with cards in its windows, from known Lab values."""
