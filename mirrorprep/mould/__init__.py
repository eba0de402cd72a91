"""Two-part moulds: pull direction, parting, body, keys, channels, release check."""
