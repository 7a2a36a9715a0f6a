"""Pictures for the text of a publication, each drawn from its own table."""
