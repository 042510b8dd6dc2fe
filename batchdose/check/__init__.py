"""Checking: one rule, one function. Rules look at what was read and yield findings; they change nothing."""
