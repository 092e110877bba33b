"""Made pictures of worn parts, like a phone's, of which everything is known exactly."""
