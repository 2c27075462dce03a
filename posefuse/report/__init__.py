"""Reports: results as one self-contained page, as tables for people and as files for programs."""
