"""Figures and tables; no computing."""
