"""Seabed: bed points become a surface that says of every cell how well it is known."""
