"""The centre's files on its dive sites and tide stations: what each holds, and how a file is judged."""
