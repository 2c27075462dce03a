"""How good an estimate is: errors against the truth, consistency, coverage, intervals."""
