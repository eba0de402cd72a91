"""Edits that remove slivers from a closed mesh: collapsing edges and flipping them."""

import numpy as np

from mirrorprep.geometry.sliver_surface import THIN_ULP, SliverSurface


class SliverPass:
    """One pass of collapses and flips that share no face.

    Attributes
    ----------
    collapsed, flipped : int
        How many edges were collapsed and flipped.
    largest_move_mm : float
        How far the surface moved at most: the edge that became one point, or the height of the sliver.
    """

    def __init__(self, surface: SliverSurface) -> None:
        self.surface = surface
        self.collapsed = 0
        self.flipped = 0
        self.largest_move_mm = 0.0
        self._busy: set[int] = set()
        self._dead: list[int] = []

    def run(self) -> int:
        """Mend slivers; return how many were mended."""
        at = self.surface
        rows = at.slivers()
        if len(rows) == 0:
            return 0
        at.watched |= at.corners(rows)
        at.index()
        mended = sum(self._mend(int(row)) for row in rows)
        at.faces = np.delete(at.faces, self._dead, axis=0)
        return mended

    def _mend(self, row: int) -> bool:
        at = self.surface
        face, lengths = at.faces[row].tolist(), at.sides(row)
        for i in np.argsort(lengths).tolist():
            start, stop = face[i], face[(i + 1) % 3]
            if at.merges(start, stop) and self._merge(start, stop):
                return self._collapsed(float(lengths[i]))
        longest = int(np.argmax(lengths))
        height = at.height(*face)
        if self._flip(row, longest):
            self.flipped += 1
            self.largest_move_mm = max(self.largest_move_mm, height)
            return True
        start, stop, middle = (face[(longest + i) % 3] for i in range(3))
        nearer_start = lengths[(longest + 2) % 3] < lengths[(longest + 1) % 3]
        for end in (start, stop) if nearer_start else (stop, start):
            if at.slides(middle, end) and self._collapse(end, middle):
                return self._collapsed(height)
        return False

    def _collapsed(self, moved_mm: float) -> bool:
        self.collapsed += 1
        self.largest_move_mm = max(self.largest_move_mm, moved_mm)
        return True

    def _merge(self, first: int, second: int) -> bool:
        if self.surface.fixed[first] and self.surface.fixed[second]:
            return False
        return self._collapse(*self.surface.kept_end(first, second))

    def _collapse(self, keep: int, drop: int) -> bool:
        """Move one end of an edge onto the other, if the surface stays a closed manifold."""
        at = self.surface
        around_keep, around_drop = at.around(keep), at.around(drop)
        if self._busy.intersection(around_keep) or self._busy.intersection(around_drop):
            return False
        ends, shared = {keep, drop}, set(around_keep).intersection(around_drop)
        link_keep, link_drop = at.link(around_keep, ends), at.link(around_drop, ends)
        opposite = at.link(list(shared), ends)
        if len(shared) != 2 or link_keep & link_drop != opposite or len(link_keep | link_drop) < 4:
            return False
        for f in set(around_drop) - shared:
            at.faces[f][at.faces[f] == drop] = keep
        at.changed([keep])
        self._dead.extend(shared)
        self._busy.update(around_keep, around_drop)
        return True

    def _flip(self, row: int, longest: int) -> bool:
        """Swap the longest edge of a sliver for the one across, if that leaves none, or less flat ones."""
        at = self.surface
        p, q, r = (int(at.faces[row, (longest + i) % 3]) for i in range(3))
        around_p, around_q, around_r = at.around(p), at.around(q), at.around(r)
        across = [f for f in set(around_p) & set(around_q) if f != row]
        if len(across) != 1 or self._busy.intersection((row, across[0], *around_r)):
            return False
        other = across[0]
        s = next(int(i) for i in at.faces[other] if i not in (p, q))
        if r == s or s in at.faces[around_r]:
            return False
        before = min(at.height(p, q, r), at.height(q, p, s))
        after = min(at.height(p, s, r), at.height(s, q, r))
        nothing = before < 1e-3 * at.ulp
        if not (after > before if nothing else after >= THIN_ULP * at.ulp):
            return False
        at.faces[row] = (p, s, r)
        at.faces[other] = (s, q, r)
        at.changed([p, q, r, s])
        self._busy.update(around_p, around_q, around_r, at.around(s))
        return True
