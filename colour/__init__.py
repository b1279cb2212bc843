"""Colour science: numpy in, numpy out."""
