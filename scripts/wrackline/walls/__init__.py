"""Stage walls: recorded lines in, one clean network out, every closing marked as inferred."""
