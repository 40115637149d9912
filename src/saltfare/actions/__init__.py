"""One typed function per use case; all that a face may call."""
