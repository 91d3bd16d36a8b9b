"""Capacity, selection, and what a better response is worth."""
