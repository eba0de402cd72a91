"""What the readers refuse, so that a hostile or damaged file ends in bounded time and memory."""

from typing import Final

MAX_FILE_BYTES: Final = 2 * 2**30
"""Largest file that is opened."""

MAX_TRIANGLES: Final = 20_000_000
"""Most triangles a file may hold or, through repeated parts, unfold to."""

MAX_VERTICES: Final = 30_000_000
"""Most vertices a file may unfold to through repeated parts."""

MAX_COORDINATE_MM: Final = 1e9
"""Largest distance from the origin along an axis (1000 km)."""

MAX_LINE_BYTES: Final = 2**20
"""Longest line of a text file whose format is built of lines."""

MAX_DIRECTORY_BYTES: Final = 2**20
"""Largest table of contents of an archive."""

MAX_RATIO: Final = 100
"""Most bytes that one packed byte of a large archive entry may unfold to."""

MAX_PARTS: Final = 10_000
"""Most placed parts (build items, components, nodes) a file may unfold to."""

MAX_DEPTH: Final = 64
"""Deepest nesting of parts within parts."""

MAX_JSON_BYTES: Final = 2**24
"""Longest description inside a GLB file."""

MAX_XML_TAGS: Final = 1_000_000
"""Most XML elements of one model part that are neither vertices nor triangles."""
