"""Form: a body of multipart/form-data as fields of text and files, read strictly. Source: RFC 7578."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import IO

from flask import Request

from econ.problems import BadInput, Problem

MEDIA_TYPE = "multipart/form-data"


@dataclass(frozen=True)
class Form:
    """A form: of each name all the texts and all the files there are."""

    texts: Mapping[str, Sequence[str]]
    files: Mapping[str, Sequence[bytes]]


class NotFormError(BadInput):
    """A body that can't be read as a form."""


def read_form(request: Request) -> Form:
    """Return the form in a request's body.

    Raises NotFormError where it is broken, which flask's own reading takes for an empty one; and werkzeug's
    RequestEntityTooLarge.
    """
    parser = request.make_form_data_parser()
    parser.silent = False
    parser.stream_factory = _kept
    try:
        _, texts, files = parser.parse(
            request.stream, request.mimetype, request.content_length, dict(request.mimetype_params)
        )
    except ValueError:  # of a boundary that is not named or not kept, headers that are none
        raise _broken("a broken form") from None
    found = {name: [file.read() for file in some] for name, some in files.lists()}
    if None in texts or None in found:
        raise _broken("a part without a name")
    return Form(dict(texts.lists()), found)


def _kept(
    total_content_length: int | None,
    content_type: str | None,
    filename: str | None,
    content_length: int | None = None,
) -> IO[bytes]:
    """Return where a file goes as it is read: memory, as a request is small, and nothing of it on the disk."""
    return BytesIO()


def _broken(value: str) -> NotFormError:
    rule = f"this is {MEDIA_TYPE}, its boundary in the Content-Type and between the parts, each part under a name"
    return NotFormError([Problem("body", value, rule, "let curl -F or a library for HTTP write it")])
