"""From bytes to readings, for every kind of wire that `bed.toml` can describe."""
