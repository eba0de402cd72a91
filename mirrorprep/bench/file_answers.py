"""The files of the page, and the files that were handed over."""

from pathlib import Path
from typing import Final

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, Response

from mirrorprep.bench.answers import NotThereError, file_answer
from mirrorprep.bench.desk import Desk
from mirrorprep.bench.kinds import disposition, media_type

PAGE: Final = Path(__file__).parent / "page"
_OUT_POLICY: Final = (
    "sandbox allow-scripts; default-src 'none'; img-src data:; style-src 'unsafe-inline'; "
    "script-src 'unsafe-inline'; frame-ancestors 'self'"
)


class FileAnswers:
    """Sends files.

    Parameters
    ----------
    desk : Desk
        The job.
    page : Path
        Folder of the page's files.
    """

    def __init__(self, desk: Desk, *, page: Path = PAGE) -> None:
        self.desk = desk
        self._page = page

    async def index(self, _: Request) -> Response:
        """Send the page."""
        return file_answer(self._page / "index.html")

    async def asset(self, request: Request) -> Response:
        """Send a file of the page."""
        root = self._page.resolve()
        name = request.path_params["name"]
        place = (root / name.replace("\0", "?")).resolve()
        if not place.is_relative_to(root) or not place.is_file():
            raise NotThereError("The page has no such file.", remedy="Load the page again.")
        return file_answer(place)

    async def output(self, request: Request) -> Response:
        """Send a file that was handed over."""
        name = request.path_params["name"]
        standing = await run_in_threadpool(self.desk.standing)
        place = self.desk.output(name, standing)
        if place is None:
            raise NotThereError(f"There is no '{name[:80]}' to hand over.", remedy="Run the handover.")
        headers = {"content-disposition": disposition(name), "content-security-policy": _OUT_POLICY}
        return FileResponse(place, media_type=media_type(name), headers=headers)
