"""Workbooks to begin with: headings that the program knows, with a note on each, drop-downs, and an example row."""
