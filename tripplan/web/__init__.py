"""The web face: one module a page. It fetches, calls and shows; no rule and no rounding lives here."""
