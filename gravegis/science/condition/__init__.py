"""Condition of stones: findings to classes, groups of like harm, share of damaged stones as a map."""
