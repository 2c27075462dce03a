"""The command line: one file for each command, and the only place that prints."""
