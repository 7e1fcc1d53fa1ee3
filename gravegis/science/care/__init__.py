"""Care of stones: treatment, who may do it, how long it takes, what holds it back, what comes first."""
