"""Reading and writing files: TOML that people write, tables, and folders of results."""
