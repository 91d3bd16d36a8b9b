"""From a recorded step to gains: identify, rules, margins, the optimum."""
