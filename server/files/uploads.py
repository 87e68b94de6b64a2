"""A form with files in it, read once. How large it may be its address decides (see `server.app`)."""

from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, Request
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException

from server.errors import Refused
from server.web.forms import Form

MOST_FILES = 20
LONGEST_NAME = 120


@dataclass(frozen=True)
class Upload:
    """One file as it was sent. Its name is for people; nothing is decided by it."""

    field: str
    name: str
    content: bytes


@dataclass(frozen=True)
class Sent:
    """The texts and the files of one form."""

    form: Form
    files: tuple[Upload, ...]

    def under(self, field: str) -> tuple[Upload, ...]:
        """The files of one field; a field left empty has none."""
        return tuple(file for file in self.files if file.field == field)


async def _read(request: Request) -> Sent:
    texts, files = [], []
    try:
        async with request.form(max_fields=100, max_files=MOST_FILES) as data:
            for field, value in data.multi_items():
                if not isinstance(value, UploadFile):
                    texts.append((field, value))
                elif value.filename or value.size:
                    files.append(Upload(field, _name(value.filename or ""), await value.read()))
    except (MultiPartException, HTTPException) as problem:
        raise Refused("The form cannot be read. Send it again, with fewer files.") from problem
    return Sent(Form(texts), tuple(files))


def _name(sent: str) -> str:
    """The last part of the name, printable, of a length that fits a line."""
    last = sent.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(sign for sign in last if sign.isprintable())[:LONGEST_NAME]


SentUpload = Annotated[Sent, Depends(_read)]
