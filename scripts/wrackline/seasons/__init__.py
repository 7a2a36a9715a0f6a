"""Stage seasons: each season's plan in order in; lasting numbers and what changed out."""
