"""People: levels, persons, the centre's roster and its own card names."""
