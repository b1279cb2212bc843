"""Reads over many jobs: lists, searches and audits, straight from the tables of lines."""
