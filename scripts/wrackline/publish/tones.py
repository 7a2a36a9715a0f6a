"""Tones that plan sheets and the styles of the GeoPackage share; told apart in grey too."""

from __future__ import annotations

INK, GREY, LIGHT, SEA, RED = "#111111", "#6f6f6f", "#e9e6df", "#4a6a86", "#8c2a00"
BED, BODY = "#8fa5b5", "#8c8c8c"
"""Of contours of the seabed, and of wall bodies."""
