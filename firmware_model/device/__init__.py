"""What makes a device of the law: stored parameters, and the checks on bytes."""
