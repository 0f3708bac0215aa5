"""Exports and rosters become rows in the store. Knows nothing of findings or pages."""
