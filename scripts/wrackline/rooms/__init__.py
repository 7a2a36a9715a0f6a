"""Stage rooms: a network in; rooms, buildings, wall bodies and openings out, with their figures."""
