"""What a camera's pictures of a printed board say about its lens."""
