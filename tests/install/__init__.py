"""The program as somebody gets it: built, installed where nothing else is, started without a network."""
