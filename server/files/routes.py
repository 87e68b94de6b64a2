"""Where a browser gets a file, in such a way that nothing in it can run.

What is served was made anew by this program, or is a PDF, which is only ever handed over to be kept. The
content type is ours, guessing is forbidden, and the answer's own policy allows nothing and shuts it into a
sandbox. People stand above this room, so the application puts their guard before this router; without it
nobody gets in.
"""

from fastapi import APIRouter, Request, Response
from fastapi.responses import FileResponse

from server.db import ReadSession
from server.errors import NotFound, SignInNeeded
from server.files import service, store
from server.files.models import StoredFile
from server.files.pictures import PDF

router = APIRouter(prefix="/files")
ENDINGS = {
    "image/jpeg": "jpg",
    "image/png": "png",
    PDF: "pdf",
    "text/csv": "csv",
    "audio/wav": "wav",
    "application/octet-stream": "bin",
}
SHUT_IN = {
    "Content-Security-Policy": "default-src 'none'; sandbox; frame-ancestors 'none'; base-uri 'none'",
    "X-Content-Type-Options": "nosniff",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "private, no-cache",
}
"""Kept by the browser of one person, and asked for again each time, so that signing out ends it."""


@router.get("/{digest}")
def file(request: Request, digest: str, session: ReadSession) -> Response:
    """One file, or the thumbnail of one."""
    if getattr(request.state, "person", None) is None:
        raise SignInNeeded("Nobody is signed in here.")
    if not store.DIGEST.fullmatch(digest):
        raise NotFound("There is no such file.")
    row = service.find(session, digest)
    headers = {**SHUT_IN, "ETag": f'"{digest}"'}
    if request.headers.get("if-none-match") == headers["ETag"]:
        return Response(status_code=304, headers=headers)
    media_type = row.media_type if digest == row.digest else "image/jpeg"
    at = store.place(request.app.state.settings.home, digest)
    if not at.is_file():
        raise NotFound("This file is in the book, but no longer in the folder of files. Ask the steward.")
    return FileResponse(at, headers=headers | _disposition(row, media_type), media_type=media_type)


def _disposition(row: StoredFile, media_type: str) -> dict[str, str]:
    """Shown where it is an image, handed over to be kept where it is not; under a name of ours."""
    how = "inline" if media_type.startswith("image/") else "attachment"
    return {"Content-Disposition": f'{how}; filename="coldstead-{row.digest[:12]}.{ENDINGS[media_type]}"'}
