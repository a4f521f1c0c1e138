"""Values of a plan made ready for a reader: words, JSON, terminal text, pictures and printed sheets."""
