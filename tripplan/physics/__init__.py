"""Pressure, water, gas and nitrogen: what a depth, a height and a day's dives do to a diver. No site is needed here."""
