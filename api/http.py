"""HTTP: JSON over HTTP under /v1. Every route is in one table, every error has one body."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Literal

from flask import Flask, Response, current_app, request
from werkzeug.exceptions import HTTPException, RequestEntityTooLarge

from api import classes, library
from api.again import again_document
from api.answer import to_json
from api.bearingask import asked_bearing
from api.form import MEDIA_TYPE as FORM
from api.form import NotFormError, read_form
from api.listings import Listing
from api.openapi import XLSX, Query, Route, describe_routes
from api.priceask import asked_prices
from api.refusal import MEDIA_TYPE, Refusal, refuse
from api.screenask import SENT, screen_file, screen_rows
from api.screening import Desk
from api.screenlist import ScreenedList
from api.sheets import Oversized
from api.strictjson import MOST_BYTES, NotJson, TooLarge, read_json, write_json
from econ import __version__
from econ.again import Again
from econ.bearings import Bearing
from econ.calliper import MOST_TOLERANCE, TOLERANCE
from econ.decision import Decision
from econ.money import DIGITS
from econ.problems import BadInput, Problem, nearest, shown
from econ.rulebook import Shelf

JSON = "application/json"


class RefusedError(Exception):
    """A request that gets an error body. accepts: where it is the media type, those that are taken there."""

    def __init__(self, refusal: Refusal, accepts: str = JSON) -> None:
        super().__init__(refusal.detail)
        self.refusal, self.accepts = refusal, accepts


@dataclass(frozen=True)
class Health:
    """The service answers, and which version it is."""

    status: Literal["ok"]
    version: str


def _is_json() -> bool:
    return request.mimetype == JSON and request.mimetype_params.get("charset", "utf-8").lower() == "utf-8"


def _wrong_type(rule: str, accepts: str = JSON) -> RefusedError:
    got = shown(request.headers.get("Content-Type", "nothing"))
    remedy = f"set Content-Type: {accepts.replace(', ', ' or ')}"
    return RefusedError(refuse(415, [Problem("Content-Type", got, rule, remedy)]), accepts)


def _length() -> str:
    return f"{request.content_length:,} bytes" if request.content_length else "more"


def _body() -> Any:
    """Return the JSON value of the request's body."""
    if not _is_json():
        raise _wrong_type("a document is sent as application/json, in UTF-8")
    try:
        return read_json(request.get_data(cache=False))
    except (RequestEntityTooLarge, TooLarge) as error:
        too_large = error if isinstance(error, TooLarge) else TooLarge(_length())
        raise RefusedError(refuse(413, too_large.problems)) from None
    except NotJson as error:
        raise RefusedError(refuse(400, error.problems)) from None


def decide_case() -> Decision:
    """Decide the case in the body."""
    document = _body()
    try:
        return library.decide_document(document, classes=_classes(), book=_book())
    except BadInput as error:
        raise RefusedError(refuse(422, error.problems)) from None


def decide_as_workbook() -> bytes:
    """Decide the case in the body; return the answer as a workbook."""
    from api.workbook import write_workbook

    document = _body()
    try:
        decision, workings = library.decide_apart(document, classes=_classes(), book=_book())
    except BadInput as error:
        raise RefusedError(refuse(422, error.problems)) from None
    written = io.BytesIO()
    write_workbook(decision, workings, written)
    return written.getvalue()


def next_failure() -> Again:
    """Answer the question about a part that fails, in the body."""
    document = _body()
    try:
        return again_document(document, classes=_classes())
    except BadInput as error:
        raise RefusedError(refuse(422, error.problems)) from None


def screen_finds() -> ScreenedList:
    """Screen the finds in the body, in this process alone, so that one request takes no more than one processor."""
    desk = Desk(_classes(), book=_book())
    try:
        if request.mimetype == FORM:
            form = read_form(request)
            return screen_file(form.texts, form.files, desk, library.today())
        if not _is_json():
            rule = f"finds are sent as {JSON}, in UTF-8, or as a file in {FORM}"
            raise _wrong_type(rule, f"{JSON}, {FORM}")
        return screen_rows(request.get_data(cache=False), desk, library.today())
    except (RequestEntityTooLarge, TooLarge):
        raise RefusedError(refuse(413, SENT.oversized("body", _length()).problems)) from None
    except Oversized as error:
        # RFC 9110, 15.5.14: the content is larger than the server is willing to process, which bounds no bytes alone.
        # 422 would say that something in the list has to be corrected; it is only too long to be worked out here.
        raise RefusedError(refuse(413, error.problems)) from None
    except (NotJson, NotFormError) as error:
        raise RefusedError(refuse(400, error.problems)) from None
    except BadInput as error:
        raise RefusedError(refuse(422, error.problems)) from None


def _classes() -> Shelf:
    """Return the machine classes that this application answers for."""
    found: Shelf = current_app.extensions["mendworth"]
    return found


def _book() -> Path | None:
    """Return the price book that this application takes prices from, if any."""
    found: Path | None = current_app.extensions["mendworth_book"]
    return found


def list_classes() -> classes.ClassList:
    """Return all machine classes."""
    return classes.ClassList(tuple(map(classes.describe, _classes().values())))


def one_class(class_id: str) -> classes.ClassLine:
    """Return one machine class."""
    try:
        found = library.machine_class(class_id, "class_id", _classes())
    except BadInput as error:
        raise RefusedError(refuse(404, error.problems)) from None
    return classes.describe(found)


def _query(*known: str) -> dict[str, str]:
    """Return the parameters of the query. Raises BadInput where one is not known, or is given twice."""
    problems = []
    for name, given in request.args.lists():
        if name not in known:
            problems.append(Problem(name, shown(given[0]), "there is no such parameter here", nearest(name, known)))
        elif len(given) > 1:
            problems.append(Problem(name, f"{len(given)} of them", "it is given once", "keep the one that holds"))
    if problems:
        raise BadInput(problems)
    return request.args.to_dict()


def name_bearing() -> Bearing:
    """Name the bearing of the size in the query, or read the designation there."""
    try:
        return asked_bearing(_book(), _query(*(q.name for q in BEARING_QUERY)), library.today())
    except BadInput as error:
        raise RefusedError(refuse(422, error.problems)) from None


def find_prices() -> Listing:
    """Find the offers of the price book that fit the query, or list them all."""
    path = _book()
    if path is None:
        rule = "this service has no price book"
        raise RefusedError(refuse(404, [Problem("path", shown(request.path), rule, "serve with --book FILE")]))
    try:
        return asked_prices(path, _query(*(q.name for q in PRICE_QUERY)), library.today())
    except BadInput as error:
        raise RefusedError(refuse(422, error.problems)) from None


def health() -> Health:
    """Say that the service answers."""
    return Health("ok", __version__)


def openapi() -> dict[str, Any]:
    """Return the description of all routes."""
    return _described(tuple(_classes()))


@cache
def _described(ids: tuple[str, ...]) -> dict[str, Any]:
    return describe_routes(ROUTES, ids)


BEARING_QUERY = (
    Query(
        "size",
        "bore x outside x width, in mm or in fractions of an inch, ? for one not measured; this or designation",
        {"type": "string", "minLength": 1, "maxLength": 100},
        "17x40x12",
    ),
    Query(
        "designation",
        "size and suffixes as on the bearing; this or size",
        {"type": "string", "minLength": 1, "maxLength": 60},
        "6203-2RS",
    ),
    Query(
        "tolerance",
        "reading error of each measure of size, either way [mm]",
        {"type": "number", "minimum": 0, "maximum": MOST_TOLERANCE, "default": TOLERANCE},
        "0.2",
    ),
    Query(
        "currency",
        "of the prices to show, where the service has a price book",
        {"type": "string", "enum": sorted(DIGITS), "default": "USD"},
        "USD",
    ),
    Query(
        "as_of",
        "the day the prices are of; today if left out",
        {"type": "string", "format": "date"},
        "2026-05-10",
    ),
    Query(
        "revision",
        "the price book as it was after that import, where the service has one; the newest if left out",
        {"type": "integer", "minimum": 1},
        "1",
    ),
)
PRICE_QUERY = (
    Query("part", "id, title or designation, or words of them", {"type": "string", "minLength": 1}, "blade"),
    Query("as_of", "the day to look from; today if left out", {"type": "string", "format": "date"}, "2026-05-10"),
    Query("revision", "the book as it was after that import", {"type": "integer", "minimum": 1}, "1"),
    Query("limit", "most offers to give", {"type": "integer", "minimum": 0, "maximum": 1000, "default": 50}, "20"),
)
ROUTES = (
    Route(
        "POST",
        "/v1/decisions",
        "decide",
        "Decide a case",
        decide_case,
        Decision,
        (400, 413, 415, 422),
        "Case",
        instead={XLSX: decide_as_workbook},
    ),
    Route(
        "POST",
        "/v1/next-failures",
        "next_failure",
        "Ask about a part that fails again",
        next_failure,
        Again,
        (400, 413, 415, 422),
        "Question",
    ),
    Route(
        "POST",
        "/v1/screenings",
        "screen",
        "Screen a list of finds: which of them to buy",
        screen_finds,
        ScreenedList,
        (400, 413, 415, 422),
        "Finds",
        upload="FindsFile",
    ),
    Route("GET", "/v1/machine-classes", "list_classes", "List the machine classes", list_classes, classes.ClassList),
    Route(
        "GET",
        "/v1/machine-classes/{class_id}",
        "get_class",
        "Show one machine class",
        one_class,
        classes.ClassLine,
        (404,),
    ),
    Route(
        "GET", "/v1/bearings", "name_bearing", "Name a ball bearing", name_bearing, Bearing, (422,), query=BEARING_QUERY
    ),
    Route("GET", "/v1/prices", "find_prices", "Find prices", find_prices, Listing, (404, 422), query=PRICE_QUERY),
    Route("GET", "/healthz", "health", "Say that the service answers", health, Health),
    Route("GET", "/openapi.json", "openapi", "Describe all routes", openapi, dict),
)


def _say(value: object, status: int = 200, media_type: str = "application/json") -> Response:
    response = Response(write_json(value), status, mimetype=media_type)
    response.headers["X-Content-Type-Options"] = "nosniff"
    return response


def _file(body: bytes, media_type: str, name: str) -> Response:
    response = Response(body, mimetype=media_type)
    response.headers["Content-Disposition"] = f'attachment; filename="{name}.xlsx"'
    response.headers["X-Content-Type-Options"] = "nosniff"
    return response


def _view(route: Route) -> Callable[..., Response]:
    def view(**names: str) -> Response:
        wanted = request.accept_mimetypes.best_match([JSON, *route.instead], default=JSON)
        if wanted in route.instead:
            return _file(route.instead[wanted](**names), wanted, route.id)
        answer = route.answers(**names)
        return _say(answer if route.kind is dict else to_json(answer))

    return view


def _refused(error: RefusedError) -> Response:
    response = _say(to_json(error.refusal), error.refusal.status, MEDIA_TYPE)
    if error.refusal.status == 415:
        response.headers["Accept-Post"] = error.accepts
    return response


def _http_error(error: HTTPException) -> Response | HTTPException:
    """Give werkzeug's own errors the one body; their headers, such as Allow, stay."""
    status = error.code or 500
    if status < 400 or status not in TITLED:
        return error
    headers = dict(error.get_headers())
    problems = []
    if status == 404:
        problems = [Problem("path", shown(request.path), "nothing is served here", "see /openapi.json")]
    if status == 405:
        rule = f"this address takes {headers.get('Allow', 'other methods')}"
        problems = [Problem("method", request.method, rule, "use one of them")]
    response = _say(to_json(refuse(status, problems, "" if problems else TITLED[status])), status, MEDIA_TYPE)
    if "Allow" in headers:
        response.headers["Allow"] = headers["Allow"]
    return response


TITLED = {
    400: "The request can't be read.",
    404: "Nothing is served here.",
    405: "This address takes other methods.",
    408: "The request took too long.",
    413: "The request is too large.",
    414: "The address is too long.",
    431: "The headers are too large.",
    500: "Something went wrong here; it is in the log.",
}


def _broken(error: Exception) -> Response:
    """Answer an error of ours without its insides; Flask's logger keeps them."""
    current_app.logger.error("unexpected error", exc_info=error)
    return _say(to_json(refuse(500, (), TITLED[500])), 500, MEDIA_TYPE)


def create_app(shelf: Shelf | None = None, book: Path | None = None) -> Flask:
    """Return the application. shelf: all machine classes; those that ship where left out. book: a price book."""
    app = Flask("mendworth", static_folder=None)
    app.extensions["mendworth"] = library.shelf() if shelf is None else shelf
    app.extensions["mendworth_book"] = book
    app.config["MAX_CONTENT_LENGTH"] = MOST_BYTES
    app.url_map.merge_slashes = False
    for route in ROUTES:
        rule = route.path.replace("{", "<").replace("}", ">")
        app.add_url_rule(rule, route.id, _view(route), methods=[route.method])
    app.register_error_handler(RefusedError, _refused)
    app.register_error_handler(HTTPException, _http_error)
    app.register_error_handler(Exception, _broken)
    return app
