"""Studies: rival plans compared on shared courses."""
