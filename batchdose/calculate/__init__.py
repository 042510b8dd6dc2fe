"""Calculating: exact doses, settings, courses, clear-from moments and product. Nothing here reads or writes files."""
