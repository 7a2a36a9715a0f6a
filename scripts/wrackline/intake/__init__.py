"""Intake: every survey file read, normalised, and checked against itself."""
