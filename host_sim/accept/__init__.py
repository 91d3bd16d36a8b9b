"""Acceptance: sequences on a rig, their figures, and what limits say of them."""
