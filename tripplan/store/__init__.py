"""Where the disk lives: the folder of a centre, and the data that ships with the program."""
