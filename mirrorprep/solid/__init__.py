"""The nouns and the doors to the mesh libraries."""
