"""The control law: stages in signal order, and `tick` that calls them.

Import the modules by name; this file stays empty of code so that a board
loads only what it runs.
"""
