"""Speeds as ratios within one run; nothing here asserts a wall time."""
