"""tripplan: plan a day of shore dives in which every number can say why."""

__version__ = "0.1.0"
