"""Stage publish: all of it in; the products that other people's work depends on out."""
