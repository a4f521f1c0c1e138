"""Sea and sky at a position and a time: tide, stream, daylight, waves; values in, values out, no site needed."""
