"""Mirror-plane search, confidence and mirroring."""
