"""Where everything meets: windows, limits and the plan of a day, as pure functions of values."""
