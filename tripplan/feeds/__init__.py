"""Forecasts and tide events from public services over the network; the only place that knows the network."""
