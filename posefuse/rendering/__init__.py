"""Images that cameras would take, and the tags a detector finds in images."""
