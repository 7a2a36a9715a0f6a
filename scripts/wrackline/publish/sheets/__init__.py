"""Plan sheets: planned as data, then drawn to scale, in sets, for desk and for diver."""
