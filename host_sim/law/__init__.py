"""The control law seen from a computer: float reference, gains, named view."""
