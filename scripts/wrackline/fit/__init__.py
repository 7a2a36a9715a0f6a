"""Fit: every survey in the site's CRS and height datum, with its errors."""
